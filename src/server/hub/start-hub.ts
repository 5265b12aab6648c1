import { randomBytes } from 'node:crypto';
import path from 'node:path';
import { systemClock } from '../../devices/system-clock.ts';
import { silentLogger } from '../../foundation/logger.ts';
import { JsonWristCalibrationStore } from '../../sessions/wrist-calibration/json-wrist-calibration-store.ts';
import { readTlsFiles } from '../access/tls-files.ts';
import { buildServer } from '../build-server.ts';
import { openDataFolder } from '../data-folder.ts';
import { lockFolder } from '../folder-lock.ts';
import { LiveHub } from '../live-hub.ts';
import { PracticeKeeper } from '../practice/practice-keeper.ts';
import { lanOptions, listen, networkUrl, ownUrl } from '../service-network.ts';
import type { RunningService, ServiceOptions } from '../service-options.ts';
import { ShotLog } from '../shot-log.ts';
import { spinReferenceFile } from '../spin-references.ts';
import { HubFeed } from './hub-feed.ts';

const latestShotCount = 200;
const checkMs = 10_000;
const greetMs = 1000;
/** Requests a minute of one address: many courts may come in by one. */
const mostRequests = { local: 120_000, remote: 12_000 } as const;

/** What a hub is started with; the rest of a service's options is for those with sensors. */
export type HubOptions = ServiceOptions & Required<Pick<ServiceOptions, 'database'>>;

/**
 * Starts a hub: the same service and page over a PostgreSQL database, without sensors of its own, to which courts hand over. Several may
 * run over one database, each with a data folder of its own for its paired devices.
 *
 * @throws SeamwiseError what the database, the data folder, the certificate and the port give.
 */
export async function startHub(options: HubOptions): Promise<RunningService> {
  const { version, host = '127.0.0.1', port, clock = systemClock, logger = silentLogger, dataFolder } = options;
  const tls = options.tls ? await readTlsFiles(options.tls) : null;
  const scheme = tls === null ? 'http' : 'https';
  openDataFolder(dataFolder, logger);
  const { settings, database } = options;
  const keeper = await PracticeKeeper.open({ dataFolder, clock, logger, simulated: false, settings, database });
  const nowS = () => clock.nowS();
  let feed: HubFeed | null = null;
  const hub = new LiveHub({
    ...{ log: new ShotLog(), clock, version, simulated: false, latestShotCount, isHub: true },
    runId: randomBytes(6).toString('hex'),
    // While the database is away a page gets what is known, and the rest by the next look.
    catchUp: async () => feed?.catchUp().catch(() => {}),
  });
  let lanUrl = (): string | null => null;
  try {
    feed = await HubFeed.open({ store: keeper.store, hub, address: database.address, nowS, logger });
    const lan = options.lan ? await lanOptions(options, clock, () => lanUrl()) : null;
    const server = await buildServer({
      ...{ hub, pageFolder: options.pageFolder, port, logger, isHub: true, mostRequests },
      spinReferences: new JsonWristCalibrationStore(path.join(dataFolder, spinReferenceFile)),
      practice: { keeper: async () => keeper, nowS, logger },
      ...(lan === null ? {} : { lan }),
      ...(tls === null ? {} : { tls }),
    });
    const boundPort = await listen(server, lan === null ? host : '::', port);
    const url = ownUrl(scheme, host, boundPort);
    if (lan !== null) lanUrl = () => networkUrl(scheme, boundPort);
    let unlock = (): void => {};
    try {
      unlock = await lockFolder(dataFolder, { url, runId: hub.runId });
    } catch (error) {
      await server.close();
      throw error;
    }
    const checking = setInterval(() => hub.checkClients(), checkMs);
    const greeting = setInterval(() => hub.greetAll(), greetMs);
    logger.info({ url }, 'listening as a hub');
    const stop = async (): Promise<void> => {
      clearInterval(checking);
      clearInterval(greeting);
      await server.close();
      await feed?.close();
      await keeper.close();
      unlock();
    };
    let stopping: Promise<void> | null = null;
    return {
      url,
      lanUrl: lanUrl(),
      close: () => {
        stopping ??= stop();
        return stopping;
      },
    };
  } catch (error) {
    await feed?.close();
    await keeper.close();
    throw error;
  }
}
