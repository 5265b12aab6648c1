import { mkdirSync, writeFileSync } from 'node:fs';
import { type FileHandle, open } from 'node:fs/promises';
import path from 'node:path';
import type { Player } from '../../database/player-records.ts';
import { bidsChannels } from './bids-channels.ts';
import type { ExportColumn } from './export-column.ts';
import type { RecordedStream, SampleBatch } from './sample-source.ts';
import type { ExportedShot } from './shot-columns.ts';

export const bidsVersion = '1.9.0';
const task = 'shooting';
const missing = 'n/a';
/** Moved dates lie before 1925 there, so that nobody takes them for real ones (BIDS 1.9.0, "Scans file"). */
const movedBackS = 100 * 365.25 * 86_400;
/** Lines that are kept in memory before they are written. */
const mostLines = 20_000;

/** An instant of a shot that becomes an event. */
export interface BidsEvent {
  readonly hostS: number;
  readonly standardErrorS: number | null;
  readonly what: 'pickup' | 'lift' | 'release' | 'contact';
  readonly shot: ExportedShot;
}

/** One sensor of one player in one session. */
export interface BidsRecording {
  readonly player: string;
  readonly session: string;
  readonly sensor: string;
  readonly stream: RecordedStream;
  readonly shiftS: number;
  readonly isShifted: boolean;
  readonly events: readonly BidsEvent[];
  readonly batches: AsyncIterable<{ readonly batch: SampleBatch; readonly rows: readonly number[] }>;
}

/** Writes a dataset as the Brain Imaging Data Structure has it for motion. */
export class BidsFolder {
  readonly #folder: string;
  readonly #version: string;
  readonly #eventColumns: readonly ExportColumn<ExportedShot>[];
  readonly #participants = new Map<string, Player | null>();
  readonly #scans = new Map<string, { readonly name: string; readonly at: string }[]>();

  /** @param eventColumns what is told of a shot at its release. */
  constructor(folder: string, version: string, eventColumns: readonly ExportColumn<ExportedShot>[]) {
    this.#folder = folder;
    this.#version = version;
    this.#eventColumns = eventColumns;
    mkdirSync(folder, { recursive: true, mode: 0o700 });
  }

  /** @param player null for shots that nobody is named for. */
  takePlayer(name: string, player: Player | null): void {
    this.#participants.set(participantLabel(name), player);
  }

  /** Writes motion, channels and events of one sensor. @returns whether it had a sample. */
  async add(recording: BidsRecording): Promise<boolean> {
    const { stream, sensor, session, player } = recording;
    const sub = participantLabel(player);
    const ses = `ses-${digitsOf(session)}`;
    const trackingSystem = `${stream.placement === 'ball' ? 'ball' : 'arm'}${digitsOf(sensor)}`;
    const folder = path.join(this.#folder, sub, ses, 'motion');
    mkdirSync(folder, { recursive: true, mode: 0o700 });
    const stem = `${sub}_${ses}_task-${task}_tracksys-${trackingSystem}`;
    const written = await writeMotion(path.join(folder, `${stem}_motion.tsv`), recording);
    if (!written) return false;
    this.#put(path.join(folder, `${stem}_motion.json`), motionDocument(recording, trackingSystem, written));
    this.#put(path.join(folder, `${stem}_channels.tsv`), channelsText(stream));
    this.#put(path.join(folder, `${stem}_channels.json`), channelsDocument);
    this.#put(path.join(folder, `${stem}_events.tsv`), this.#eventsText(recording, written.onsetS));
    const known = this.#scans.get(`${sub}/${ses}`) ?? [];
    known.push({ name: `motion/${stem}_motion.tsv`, at: acquired(recording, written.onsetS) });
    this.#scans.set(`${sub}/${ses}`, known);
    return true;
  }

  /** Writes what stands over all recordings. */
  finish(readme: string, citation: string): void {
    const at = (name: string) => path.join(this.#folder, name);
    this.#put(at('dataset_description.json'), {
      Name: 'Basketball shots with inertial sensors',
      BIDSVersion: bidsVersion,
      DatasetType: 'raw',
      GeneratedBy: [{ Name: 'Seamwise', Version: this.#version }],
    });
    this.#put(at('README'), readme);
    this.#put(at('CITATION.cff'), citation);
    const rows = [...this.#participants].map(([label, player]) => [
      label,
      player?.hand ?? missing,
      player?.age_band ?? missing,
    ]);
    this.#put(at('participants.tsv'), tsv([['participant_id', 'handedness', 'age_band'], ...rows]));
    this.#put(at('participants.json'), participantsDocument);
    this.#put(at(`task-${task}_events.json`), this.#eventsDocument());
    for (const [place, scans] of this.#scans) {
      const [sub = '', ses = ''] = place.split('/');
      const lines = scans.map(({ name, at: acquiredAt }) => [name, acquiredAt]);
      this.#put(at(path.join(sub, ses, `${sub}_${ses}_scans.tsv`)), tsv([['filename', 'acq_time'], ...lines]));
    }
  }

  #put(file: string, content: string | object): void {
    const text = typeof content === 'string' ? content : `${JSON.stringify(content, null, 2)}\n`;
    writeFileSync(file, text, { mode: 0o600, flag: 'wx' });
  }

  #eventsText({ events }: BidsRecording, onsetS: number): string {
    const columns = this.#eventColumns;
    const rows = [...events]
      .sort((a, b) => a.hostS - b.hostS)
      .map(({ hostS, standardErrorS, what, shot }) => [
        (hostS - onsetS).toFixed(6),
        '0',
        what,
        standardErrorS === null ? missing : String(standardErrorS),
        String(shot.stored.shot_index),
        ...columns.map(({ cell }) => (what === 'release' ? tsvCell(cell(shot)) : missing)),
      ]);
    const head = ['onset', 'duration', 'trial_type', 'onset_standard_error', 'shot_index'];
    return tsv([[...head, ...columns.map(({ name }) => name)], ...rows]);
  }

  #eventsDocument(): object {
    const told = this.#eventColumns.map(({ name, definition, method, unit }) => [
      name,
      {
        Description: `${definition}${method === '' ? '' : ` Method: ${method}.`} Stands at releases only.`,
        ...(unit !== '' && unit !== '1' && { Units: unit }),
      },
    ]);
    return {
      onset: { Description: 'instant, since the first sample of the motion file of the same name', Units: 's' },
      duration: { Description: 'events are instants', Units: 's' },
      trial_type: {
        LongName: 'instant of a shot',
        Levels: {
          pickup: 'the hand meets the ball, or the last low rest before the shot',
          lift: 'lowest point of the ball before release',
          release: 'the ball leaves the hand',
          contact: 'the ball first meets something after its flight',
        },
      },
      onset_standard_error: { Description: 'one standard error of the onset', Units: 's' },
      shot_index: { Description: 'count of the shot in the stream of its sensor' },
      ...Object.fromEntries(told),
    };
  }
}

interface WrittenMotion {
  /** Host time of the first sample. */
  readonly onsetS: number;
  readonly durationS: number;
}

/** @returns null where there was no sample; the file is then empty. */
async function writeMotion(file: string, { stream, batches }: BidsRecording): Promise<WrittenMotion | null> {
  const channels = bidsChannels(stream);
  let handle: FileHandle | null = null;
  let onsetS: number | null = null;
  let lastS = 0;
  let lines: string[] = [];
  try {
    for await (const { batch, rows } of batches) {
      for (const at of rows) {
        onsetS ??= batch.hostS[at] ?? 0;
        const onset = onsetS;
        lastS = batch.hostS[at] ?? 0;
        lines.push(channels.map(({ cell }) => tsvCell(cell(batch, at, onset))).join('\t'));
      }
      if (lines.length < mostLines) continue;
      handle ??= await open(file, 'wx', 0o600);
      await handle.appendFile(`${lines.join('\n')}\n`);
      lines = [];
    }
    if (lines.length > 0) {
      handle ??= await open(file, 'wx', 0o600);
      await handle.appendFile(`${lines.join('\n')}\n`);
    }
  } finally {
    await handle?.close();
  }
  return onsetS === null ? null : { onsetS, durationS: lastS - onsetS };
}

function motionDocument({ stream }: BidsRecording, trackingSystem: string, { durationS }: WrittenMotion): object {
  const channels = bidsChannels(stream);
  const count = (type: string) => channels.filter((channel) => channel.type === type).length;
  return {
    TaskName: task,
    TaskDescription: 'basketball shooting practice; shots were found by the program from the readings',
    TrackingSystemName: trackingSystem,
    SamplingFrequency: stream.nominalRateHz,
    SamplingFrequencyEffective: stream.measuredRateHz ?? stream.nominalRateHz,
    RecordingDuration: durationS,
    MotionChannelCount: channels.length,
    ACCELChannelCount: count('ACCEL'),
    GYROChannelCount: count('GYRO'),
    ORNTChannelCount: count('ORNT'),
    LATENCYChannelCount: count('LATENCY'),
    MISCChannelCount: count('MISC'),
    TrackedPointsCount: 1,
    MissingValues: missing,
    SubjectArtefactDescription: missing,
    SoftwareFilters: missing,
  };
}

const trackedPoints: Readonly<Record<string, string>> = {
  ball: 'ball',
  'wrist-forearm': 'shooting forearm above the wrist',
  'back-of-hand': 'back of the shooting hand',
};

function channelsText(stream: RecordedStream): string {
  const head = ['name', 'component', 'type', 'tracked_point', 'units', 'placement', 'reference_frame', 'description'];
  const point = trackedPoints[stream.placement] ?? missing;
  const rows = bidsChannels(stream).map(({ name, component, type, units, referenceFrame, description }) => [
    name,
    component,
    type,
    point,
    units,
    point,
    referenceFrame,
    description,
  ]);
  return tsv([head, ...rows]);
}

const channelsDocument = {
  reference_frame: {
    Description: 'axes in which a channel is told',
    Levels: {
      sensor: { Description: 'right-handed axes of the sensor', RotationRule: 'right-hand' },
      room: {
        Description: 'z up; heading is that of the first sample and drifts, without a compass',
        RotationRule: 'right-hand',
      },
    },
  },
};

const participantsDocument = {
  participant_id: { Description: 'name made for this export' },
  handedness: { Description: 'shooting hand', Levels: { right: 'right', left: 'left' } },
  age_band: { Description: 'age in years: under-10, 10-12, 13-15, 16-18, adult' },
};

function participantLabel(player: string): string {
  return player === '' ? 'sub-unnamed' : `sub-${digitsOf(player)}`;
}

function digitsOf(name: string): string {
  return name.replace(/^\D+/, '');
}

function acquired({ shiftS, isShifted }: BidsRecording, onsetS: number): string {
  const atS = onsetS - shiftS - (isShifted ? movedBackS : 0);
  return new Date(Math.round(atS * 1000)).toISOString().replace('Z', '');
}

function tsvCell(value: string | number | null): string {
  if (value === null || value === '') return missing;
  return typeof value === 'number' ? String(value) : value.replaceAll(/[\t\n\r]/g, ' ');
}

function tsv(rows: readonly (readonly string[])[]): string {
  return `${rows.map((row) => row.join('\t')).join('\n')}\n`;
}
