import { Subject } from 'rxjs';
import type { SensorNotification } from '../../foundation/sensor-notification.ts';
import { chainOpener } from '../../live/chain-opener.ts';
import { PacketPath } from '../../live/packet-path.ts';
import { noSetup, type SensorSetup } from '../../live/sensor-setup.ts';
import type { SensorStateChange } from '../../live/sensor-streams.ts';
import { RecordingReader } from '../../sessions/recording/recording-reader.ts';
import { openRecordingFile } from '../../sessions/recording-file.ts';
import type { BallSettings, Shot } from '../../shots/shot.ts';

/** A final shot that came out of a recording. */
export interface ReanalysedShot {
  readonly sensorId: string;
  readonly streamIndex: number;
  /** Host time of its release, as near as the live path tells it. */
  readonly atS: number;
  readonly shot: Shot;
}

/** What a recording holds. */
export interface AnalysedRecording {
  readonly shots: readonly ReanalysedShot[];
  /** Host times of the first and the last notification; null where there is none. */
  readonly firstS: number | null;
  readonly lastS: number | null;
  /** Descriptions of the sensors in it, in hexadecimal, by id. */
  readonly sensors: Readonly<Record<string, string>>;
}

export interface RecordingTask {
  readonly file: string;
  readonly settings: BallSettings;
  /** What is known of sensors beside the recording, by id. */
  readonly setups?: Readonly<Record<string, SensorSetup>>;
}

/**
 * Leads a whole recording through the very path that live packets take.
 *
 * @throws UnreadableRecordingError when the file cannot be read.
 */
export async function analyseRecording({ file, settings, setups = {} }: RecordingTask): Promise<AnalysedRecording> {
  const notifications = new Subject<SensorNotification>();
  const states = new Subject<SensorStateChange>();
  const shots: ReanalysedShot[] = [];
  const path = new PacketPath({
    notifications,
    states,
    openChain: chainOpener(settings),
  });
  path.events.subscribe((event) => {
    if (event.kind !== 'analysis' || event.event.kind !== 'shot' || event.event.shot.stage !== 'final') return;
    const { sensorId, streamIndex, hostTimeS } = event;
    const { shot } = event.event;
    const { releaseS, contactS } = shot;
    const sinceReleaseS = releaseS !== null && contactS !== null ? contactS - releaseS : 0;
    shots.push({ sensorId, streamIndex, atS: hostTimeS - sinceReleaseS, shot });
  });
  const sensors: Record<string, string> = {};
  let firstS: number | null = null;
  let lastS: number | null = null;
  const opened = await openRecordingFile(file);
  try {
    const reader = await RecordingReader.open(opened);
    for await (const { kind, sensorId, bytes, hostTimeS } of reader.entries()) {
      firstS ??= hostTimeS;
      lastS = hostTimeS;
      if (kind === 'notification') notifications.next({ sensorId, bytes, hostTimeS });
      else {
        sensors[sensorId] = Buffer.from(bytes).toString('hex');
        const setup = setups[sensorId] ?? noSetup;
        states.next({ sensorId, state: 'streaming', hostTimeS, description: bytes, detail: null, setup });
      }
    }
  } finally {
    await opened.handle.close();
  }
  notifications.complete();
  states.complete();
  return { shots, firstS, lastS, sensors };
}
