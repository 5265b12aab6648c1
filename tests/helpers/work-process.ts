/** Runs one worker of a hub, which a test can kill. Tells its parent what it has ended. One that is `held` comes no further than its first piece of work. */
import { systemClock } from '../../src/devices/system-clock.ts';
import { silentLogger } from '../../src/foundation/logger.ts';
import { noSetup } from '../../src/live/sensor-setup.ts';
import { HubWorker } from '../../src/server/hub/work/hub-worker.ts';
import { ClubStore } from '../../src/sessions/database/club-store.ts';

const [address = '', name = '', threads = '1', leaseS = '60', held = ''] = process.argv.slice(2);

const store = await ClubStore.open({ address, nowS: () => systemClock.nowS() });
process.send?.('ready');
const worker = new HubWorker({
  ...{ store, name, threadCount: Number(threads), version: 'test', logger: silentLogger, idleMs: 100 },
  ...{ leaseS: Number(leaseS), setupOf: () => (held === 'held' ? new Promise(() => {}) : Promise.resolve(noSetup)) },
  onEnded: (job) => process.send?.(job),
});
process.on('message', (word) => {
  if (word === 'end') void worker.close().then(() => process.exit(0));
});
