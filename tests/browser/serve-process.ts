/** Runs the service with its simulated shooter in a process of its own, so that a test can kill it. */
import { startService } from '../../src/server/service.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';

const [pageFolder = '', dataFolder = '', port = '0', seed = '1'] = process.argv.slice(2);
const { url } = await startService({
  version: '1.2.3',
  port: Number(port),
  dataFolder,
  pageFolder,
  seed: Number(seed),
  settings: defaultBallSettings,
});
process.stdout.write(`${url}\n`);
