import type { MessagePort } from 'node:worker_threads';
import { Subject } from 'rxjs';
import type { SensorNotification } from '../../foundation/sensor-notification.ts';
import { chainOpener } from '../../live/chain-opener.ts';
import { PacketPath } from '../../live/packet-path.ts';
import { noSetup, type SensorSetup } from '../../live/sensor-setup.ts';
import type { SensorStateChange } from '../../live/sensor-streams.ts';
import { type RecordingEntry, type RecordingNote, RecordingReader } from '../../sessions/recording/recording-reader.ts';
import { openRecordingFile } from '../../sessions/recording-file.ts';
import type { BallSettings, Shot } from '../../shots/shot.ts';
import type { PublishedEvent } from '../live-hub.ts';
import { SensorPair } from '../pairing/sensor-pair.ts';

/** A final shot that came out of a recording. */
export interface ReanalysedShot {
  /** The sensor that its times are of: with two sensors that in the ball, where it saw the shot. */
  readonly sensorId: string;
  readonly streamIndex: number;
  /** Host time of its release, or of what stands for it. */
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
  /** What was said about the recording: marks, settings. */
  readonly notes: readonly RecordingNote[];
  /** What it says about itself, such as `simulated`. */
  readonly about: Readonly<Record<string, string>>;
  readonly notificationCount: number;
  /** Samples that could be read, of all sensors in their last streams. */
  readonly sampleCount: number;
  /** Why streams could not be analysed. */
  readonly faults: readonly string[];
  /** What could not be read, as sentences. */
  readonly damage: readonly string[];
}

export interface RecordingTask {
  readonly file: string;
  readonly settings: BallSettings;
  /** What is known of sensors beside the recording, by id. */
  readonly setups?: Readonly<Record<string, SensorSetup>>;
  /** Told what share of the file has been read, in hundredths. */
  readonly share?: MessagePort;
}

/**
 * Leads a whole recording through the very path that live packets take; a sensor in the ball and one on the arm are put
 * together as they are live.
 *
 * @throws UnreadableRecordingError when the file cannot be read.
 */
export async function analyseRecording({
  file,
  settings,
  setups = {},
  share,
}: RecordingTask): Promise<AnalysedRecording> {
  const notifications = new Subject<SensorNotification>();
  const states = new Subject<SensorStateChange>();
  const shots: ReanalysedShot[] = [];
  const path = new PacketPath({
    notifications,
    states,
    openChain: chainOpener(settings, false),
  });
  const pair = new SensorPair((sensorId) => path.summary(sensorId)?.clock.host ?? null);
  const descriptions = new Map<string, Uint8Array>();
  const keep = (told: readonly PublishedEvent[]): void => {
    for (const { event, sensorId, streamIndex, hostTimeS, releaseHostS } of told) {
      if (event.kind !== 'shot' || event.shot.stage !== 'final') continue;
      shots.push({ sensorId, streamIndex, atS: releaseHostS ?? hostTimeS, shot: event.shot });
    }
  };
  path.events.subscribe((event) => {
    if (event.kind === 'fault') faults.add(event.message);
    if (event.kind === 'analysis') keep(pair.take(event));
    if (event.kind === 'state') {
      // Shots of before a change come before it here, as they do live.
      const description = event.state === 'streaming' ? (descriptions.get(event.sensorId) ?? null) : null;
      keep(pair.takeState({ ...event, description }));
    }
  });
  const sensors: Record<string, string> = {};
  const faults = new Set<string>();
  let toldHundredths = 0;
  let notificationCount = 0;
  let firstS: number | null = null;
  let lastS: number | null = null;
  const opened = await openRecordingFile(file);
  let reader: RecordingReader;
  try {
    reader = await RecordingReader.open(opened);
    const onBytes = (bytes: number): void => {
      const hundredths = Math.floor((100 * bytes) / opened.sizeBytes);
      if (hundredths > toldHundredths) share?.postMessage(hundredths / 100);
      toldHundredths = Math.max(toldHundredths, hundredths);
    };
    const take = ({ kind, sensorId, bytes, hostTimeS }: RecordingEntry): void => {
      firstS ??= hostTimeS;
      lastS = hostTimeS;
      if (kind === 'notification') {
        notificationCount += 1;
        notifications.next({ sensorId, bytes, hostTimeS });
        return;
      }
      const description = bytes.slice();
      sensors[sensorId] = Buffer.from(description).toString('hex');
      descriptions.set(sensorId, description);
      const setup = setups[sensorId] ?? noSetup;
      states.next({ sensorId, state: 'streaming', hostTimeS, description, detail: null, setup });
    };
    for await (const batch of reader.batches(onBytes)) for (const entry of batch) take(entry);
  } finally {
    await opened.handle.close();
  }
  notifications.complete();
  states.complete();
  keep(pair.finish(lastS ?? 0));
  return {
    shots,
    firstS,
    lastS,
    sensors,
    notes: reader.notes,
    about: Object.fromEntries(reader.about),
    notificationCount,
    sampleCount: Object.keys(sensors).reduce((sum, id) => sum + (path.summary(id)?.samples ?? 0), 0),
    faults: [...faults],
    damage: reader.damage().places,
  };
}

/** What stands in a recording before its first notification. */
export interface RecordingStart {
  readonly sensorIds: readonly string[];
  readonly notes: readonly RecordingNote[];
}

/** Reads what a recording says before its samples begin. @throws UnreadableRecordingError when the file cannot be read. */
export async function readRecordingStart(file: string): Promise<RecordingStart> {
  const opened = await openRecordingFile(file);
  try {
    const reader = await RecordingReader.open(opened);
    for await (const { kind } of reader.entries()) if (kind === 'notification') break;
    return { sensorIds: [...reader.sensors.keys()], notes: [...reader.notes] };
  } finally {
    await opened.handle.close();
  }
}
