import { systemClock } from '../../src/devices/system-clock.ts';
import { silentLogger } from '../../src/foundation/logger.ts';
import { lanAddresses } from '../../src/server/access/lan-addresses.ts';
import { PairedDevices } from '../../src/server/access/paired-devices.ts';
import { PairingDesk } from '../../src/server/access/pairing-desk.ts';
import { buildServer, type LanOptions } from '../../src/server/build-server.ts';
import { LiveHub } from '../../src/server/live-hub.ts';
import { LiveSignals } from '../../src/server/research/live-signals.ts';
import { ShotLog } from '../../src/server/shot-log.ts';
import type { NumberedDocument } from '../../src/server/wire/live-document.ts';

export interface PageServiceOptions {
  readonly pageFolder: string;
  readonly dataFolder: string;
  readonly runId: string;
  /** 0 takes a free one. */
  readonly port: number;
  readonly simulated?: boolean;
  readonly version?: string;
  /** Whether paired devices of the network may come in. */
  readonly lan?: boolean;
}

/** What services of one data folder told: their memory from run to run. */
const toldOf = new Map<string, NumberedDocument[]>();

/** A service whose shots the test makes; everything behind the analysis is the real thing. */
export interface PageService {
  readonly hub: LiveHub;
  readonly port: number;
  readonly url: string;
  /** Where other devices would find it; null without a network or where they may not. */
  readonly lanUrl: string | null;
  close(): Promise<void>;
}

export async function startPageService(options: PageServiceOptions): Promise<PageService> {
  const { pageFolder, dataFolder, runId, port, simulated = true, version = '1.2.3' } = options;
  const told = toldOf.get(dataFolder) ?? [];
  toldOf.set(dataFolder, told);
  const log = new ShotLog(told);
  const hub = new LiveHub({ log, clock: systemClock, version, runId, simulated, latestShotCount: 50 });
  const tell = hub.tell.bind(hub);
  hub.tell = (document) => {
    told.push(document);
    tell(document);
  };
  let lanUrl: string | null = null;
  const lan = options.lan ? await lanOf(dataFolder, () => lanUrl) : null;
  const server = await buildServer({
    ...{ hub, pageFolder, port, logger: silentLogger },
    liveSignals: new LiveSignals(() => systemClock.nowS()),
    ...(lan === null ? {} : { lan }),
  });
  await server.listen({ host: lan === null ? '127.0.0.1' : '0.0.0.0', port });
  const address = server.server.address();
  if (address === null || typeof address === 'string') throw new Error('the server has no port');
  const { shown } = lanAddresses();
  if (lan !== null && shown !== null) lanUrl = `http://${shown}:${address.port}/`;
  return {
    hub,
    lanUrl,
    port: address.port,
    url: `http://127.0.0.1:${address.port}/`,
    close: async () => {
      await server.close();
    },
  };
}

async function lanOf(dataFolder: string, pageUrl: () => string | null): Promise<LanOptions> {
  let made = 0;
  const desk = new PairingDesk({
    clock: systemClock,
    makeCode: () => String(418_000 + made++),
    makeTicket: () => `ticket-${made++}`,
  });
  const devices = await PairedDevices.open(dataFolder, systemClock);
  return { devices, desk, ownNames: () => lanAddresses().names, pageUrl };
}
