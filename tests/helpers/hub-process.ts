/** Runs one process of a hub, which a test can kill. Tells its parent the address. */
import { pino } from 'pino';
import { startHub } from '../../src/server/hub/start-hub.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';

const [dataFolder = '', address = '', port = '0'] = process.argv.slice(2);

const service = await startHub({
  version: 'test',
  port: Number(port),
  dataFolder,
  pageFolder: '',
  settings: defaultBallSettings,
  database: { address },
  logger: pino({ level: 'error' }, process.stderr as never),
});
process.send?.({ url: service.url });
