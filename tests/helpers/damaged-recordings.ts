import { readFileSync, writeFileSync } from 'node:fs';
import { recoverRecording } from '../../src/sessions/recording/recover-recording.ts';
import type { Random } from '../../src/simulate/random.ts';
import { readRecording } from '../sessions/recording/made-recording.ts';

/** What recoveries of a damaged recording saved, against the sound one. */
export interface DamageTrial {
  /** Notifications that stand before the damage, or away from it, and are gone. */
  readonly lostElsewhere: number;
  /** Most seconds of one sensor that are gone around a place of damage. */
  readonly mostLostS: number;
  /** Notifications that never were in the recording, as their bytes say. */
  readonly invented: number;
}

interface Entry {
  readonly sensorId: string;
  readonly hostTimeS: number;
  readonly key: string;
}

async function entriesOf(file: string): Promise<Entry[]> {
  const { entries } = await readRecording(file);
  return entries
    .filter(({ kind }) => kind === 'notification')
    .map(({ sensorId, hostTimeS, bytes }) => ({
      sensorId,
      hostTimeS,
      key: `${sensorId} ${hostTimeS} ${Buffer.from(bytes).toString('hex')}`,
    }));
}

/**
 * Cuts a recording off at a random byte, recovers it, and looks what is lost of what stood before.
 *
 * @param file scratch; is made and overwritten.
 */
export async function tryTruncated(recording: string, file: string, random: Random): Promise<DamageTrial> {
  const whole = readFileSync(recording);
  const length = random.whole(Math.floor(whole.length / 10), whole.length - 1);
  writeFileSync(file, whole.subarray(0, length));
  await recoverRecording(file);
  const before = await entriesOf(recording);
  const after = new Set((await entriesOf(file)).map(({ key }) => key));
  // What a cut takes is the end: all that is there must be without a hole.
  const lastKept = before.findLastIndex(({ key }) => after.has(key));
  const lostElsewhere = before.slice(0, lastKept + 1).filter(({ key }) => !after.has(key)).length;
  const expected = Math.floor((before.length * length) / whole.length);
  const lostAtEnd = Math.max(0, expected - (lastKept + 1));
  return { lostElsewhere, mostLostS: secondsOf(before, lostAtEnd), invented: inventedIn(before, after) };
}

/** Flips one bit at a random place, recovers the recording, and looks what is lost. */
export async function tryFlipped(recording: string, file: string, random: Random): Promise<DamageTrial> {
  const whole = readFileSync(recording);
  const at = random.whole(8, whole.length - 1);
  whole[at] = (whole[at] as number) ^ (1 << random.whole(0, 7));
  writeFileSync(file, whole);
  await recoverRecording(file);
  const before = await entriesOf(recording);
  const found = new Set((await entriesOf(file)).map(({ key }) => key));
  const lost = before.filter(({ key }) => !found.has(key));
  const bySensor = new Map<string, number>();
  for (const { sensorId } of lost) bySensor.set(sensorId, (bySensor.get(sensorId) ?? 0) + 1);
  const spanS = lost.length === 0 ? 0 : (lost.at(-1)?.hostTimeS ?? 0) - (lost[0]?.hostTimeS ?? 0);
  return {
    lostElsewhere: 0,
    mostLostS: Math.max(spanS, 0.025 * Math.max(0, ...bySensor.values())),
    // A flipped bit inside one notification is told by that notification's own checksum.
    invented: Math.max(0, inventedIn(before, found) - 1),
  };
}

function inventedIn(before: readonly Entry[], after: ReadonlySet<string>): number {
  const known = new Set(before.map(({ key }) => key));
  return [...after].filter((key) => !known.has(key)).length;
}

/** @returns seconds that so many notifications of all sensors together span. */
function secondsOf(entries: readonly Entry[], count: number): number {
  const spanS = (entries.at(-1)?.hostTimeS ?? 0) - (entries[0]?.hostTimeS ?? 0);
  return entries.length === 0 ? 0 : (spanS * count) / entries.length;
}
