import path from 'node:path';
import type { FastifyInstance } from 'fastify';
import { onTestFinished } from 'vitest';
import { systemClock } from '../../../src/devices/system-clock.ts';
import { silentLogger } from '../../../src/foundation/logger.ts';
import { buildServer } from '../../../src/server/build-server.ts';
import { LiveHub } from '../../../src/server/live-hub.ts';
import { PracticeKeeper } from '../../../src/server/practice/practice-keeper.ts';
import { ShotLog } from '../../../src/server/shot-log.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';
import { freePort } from '../../helpers/free-port.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';

/** A hub over SQLite that listens on a port of this machine; ended with the test. */
export interface MadeHub {
  readonly keeper: PracticeKeeper;
  readonly address: string;
  readonly port: number;
  /** Stops answering; `start` goes on at the same port. */
  stop(): Promise<void>;
  start(): Promise<void>;
}

export async function madeHub(): Promise<MadeHub> {
  const clock = systemClock;
  const logger = silentLogger;
  const folder = temporaryFolder();
  const keeper = await PracticeKeeper.open({
    ...{ dataFolder: folder, clock, logger, simulated: false, settings: defaultBallSettings },
  });
  let server: FastifyInstance | null = null;
  let port = await freePort();
  const start = async (): Promise<void> => {
    const hub = new LiveHub({
      ...{ log: new ShotLog(), clock, version: '1.2.3', runId: 'hub', simulated: false, latestShotCount: 50 },
    });
    server = await buildServer({
      ...{ hub, pageFolder: path.join(folder, 'page'), port, logger, isHub: true },
      practice: { keeper: async () => keeper, nowS: () => clock.nowS(), logger },
    });
    await server.listen({ host: '127.0.0.1', port });
    const bound = server.server.address();
    port = typeof bound === 'object' && bound !== null ? bound.port : 0;
  };
  const stop = async (): Promise<void> => {
    await server?.close();
    server = null;
  };
  await start();
  onTestFinished(async () => {
    await stop();
    await keeper.close();
  });
  return { keeper, port, address: `http://127.0.0.1:${port}/`, start, stop };
}
