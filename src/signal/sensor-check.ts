/**
 * What a few seconds of a sensor's stream show of the sensor: rate, losses, ranges, noise, gravity at rest, and whether
 * gyroscope and gravity agree. Units, scales and axes that cannot be right are named, not used.
 *
 * Start-up: none. The sensor should lie still for a while and be turned about for a while, in any order.
 */
import { standardGravityMps2 } from '../foundation/constants.ts';
import { type ImuBlock, type SensorTraits, sampleFlag } from '../foundation/imu-block.ts';
import { GravityTurns, type TurnAgreement } from './gravity-turns.ts';
import { medianNorm, StillWatch, type StillWindow } from './still-windows.ts';
import { norm, type Vec3, vecAt } from './vec3.ts';

/** What the packets showed, from whoever put them together. */
export interface StreamCounts {
  readonly sampleRateHz: number | null;
  readonly sampleRateStandardErrorHz: number | null;
  readonly gapCount: number;
  readonly missingSamples: number;
  readonly longestGapS: number;
  readonly corruptCount: number;
  readonly duplicateCount: number;
  readonly restartCount: number;
  readonly clockDriftPpm: number | null;
  readonly clockDriftStandardErrorPpm: number | null;
}

/** Least and greatest reading of each axis. */
export interface AxisRanges {
  readonly least: Vec3;
  readonly greatest: Vec3;
}

export interface RestReadings {
  readonly durationS: number;
  /** Middle of |a| over the windows at rest, with half the spread from window to window. */
  readonly forceMps2: number;
  readonly forceSpreadMps2: number;
  /** Standard deviation of a sample. */
  readonly accelNoiseMps2: Vec3;
  readonly gyroNoiseRadps: Vec3 | null;
  readonly gyroBiasRadps: Vec3 | null;
}

/** Something that a person should know. `wrong`: what is measured with it would be wrong. */
export interface CheckFinding {
  readonly code: CheckCode;
  readonly weight: 'wrong' | 'note';
  readonly message: string;
}

export const checkCodes = {
  'no-data': 'no samples came',
  'accel-scale': 'the force at rest is not gravity',
  'gyro-scale': 'the gyroscope reads other angles than gravity shows',
  'gyro-axes': 'axes or signs of gyroscope and accelerometer disagree',
  'gyro-disagrees': 'gyroscope and gravity disagree in no simple way',
  'axis-stuck': 'an axis never changed',
  'rate-off': 'the rate is far from the stated one',
  'samples-lost': 'many samples were lost',
  'packets-damaged': 'packets were damaged',
  'beyond-range': 'readings lie beyond the stated range',
  clipped: 'readings stand at the end of the range',
  noisy: 'the readings at rest are noisy',
  'bias-large': 'the gyroscope turns at rest',
  'never-still': 'the sensor never lay still',
  'not-turned': 'the sensor was not turned about enough',
} as const;
export type CheckCode = keyof typeof checkCodes;

export interface SensorCheckReport extends StreamCounts {
  readonly durationS: number;
  readonly samples: number;
  readonly nominalRateHz: number;
  readonly accelMps2: AxisRanges;
  readonly gyroRadps: AxisRanges | null;
  readonly clippedShare: number;
  /** Null where it never lay still. */
  readonly rest: RestReadings | null;
  /** Null without gyroscope, or where it was not turned about enough. */
  readonly turns: TurnAgreement | null;
  readonly findings: readonly CheckFinding[];
}

/** Bias and scale error of ordinary parts stay below. */
const gravityShare = 0.1;
const gainShare = 0.12;
/** Some axis of the accelerometer moved by this share of its greatest reading. */
const turnedShare = 0.3;
const misfitShare = 0.4;
const unexplainedShare = 0.5;
const rateShare = 0.1;
const lostShare = 0.05;
const noiseMps2 = 0.3;
const noiseRadps = 0.02;
const biasRadps = 0.2;
/** What comes after so many samples is not looked at for turns, so that memory is bounded. */
const keptSamples = 400_000;

export class SensorCheck {
  readonly #traits: SensorTraits;
  readonly #still = new StillWatch();
  readonly #windows: StillWindow[] = [];
  readonly #blocks: ImuBlock[] = [];
  readonly #accel = emptyRanges();
  readonly #gyro = emptyRanges();
  #hasGyro = false;
  #samples = 0;
  #clipped = 0;
  #firstS = 0;
  #lastS = 0;

  constructor(traits: SensorTraits) {
    this.#traits = traits;
  }

  push(block: ImuBlock): void {
    if (block.length === 0) return;
    if (this.#samples === 0) this.#firstS = block.timeS[0]!;
    this.#lastS = block.timeS[block.length - 1]!;
    this.#hasGyro = block.gyroRadps !== null;
    if (this.#samples < keptSamples) this.#blocks.push(block);
    this.#samples += block.length;
    for (let at = 0; at < block.length; at++) {
      widen(this.#accel, vecAt(block.accelMps2, at));
      if (block.gyroRadps) widen(this.#gyro, vecAt(block.gyroRadps, at));
      if ((block.flags[at]! & (sampleFlag.accelClipped | sampleFlag.gyroClipped)) !== 0) this.#clipped += 1;
    }
    this.#windows.push(...this.#still.push(block));
  }

  finish(counts: StreamCounts): SensorCheckReport {
    const rest = this.#rest();
    const turns = this.#turns(rest);
    const report = {
      ...counts,
      durationS: this.#lastS - this.#firstS,
      samples: this.#samples,
      nominalRateHz: this.#traits.nominalRateHz,
      accelMps2: frozen(this.#accel),
      gyroRadps: this.#hasGyro ? frozen(this.#gyro) : null,
      clippedShare: this.#samples === 0 ? 0 : this.#clipped / this.#samples,
      rest,
      turns,
    };
    return Object.freeze({ ...report, findings: Object.freeze(findings(report, this.#traits)) });
  }

  #rest(): RestReadings | null {
    const still = this.#windows.filter((window) => window.still);
    const forceMps2 = medianNorm(still.map(({ accel }) => accel));
    if (forceMps2 === null) return null;
    const sizes = still.map(({ accel }) => norm(accel));
    const gyros = still.flatMap(({ gyro, gyroSpread }) => (gyro && gyroSpread ? [{ gyro, gyroSpread }] : []));
    return Object.freeze({
      durationS: still.reduce((sum, { startS, endS }) => sum + endS - startS, 0),
      forceMps2,
      forceSpreadMps2: (Math.max(...sizes) - Math.min(...sizes)) / 2,
      accelNoiseMps2: middle(still.map(({ accelSpread }) => accelSpread)),
      gyroNoiseRadps: gyros.length === 0 ? null : middle(gyros.map(({ gyroSpread }) => gyroSpread)),
      gyroBiasRadps: gyros.length === 0 ? null : middle(gyros.map(({ gyro }) => gyro)),
    });
  }

  #turns(rest: RestReadings | null): TurnAgreement | null {
    if (!this.#hasGyro || rest === null) return null;
    const turns = new GravityTurns(rest.forceMps2);
    for (const block of this.#blocks) turns.push(block);
    return turns.fit();
  }
}

type Draft = Omit<SensorCheckReport, 'findings'>;

function findings(report: Draft, traits: SensorTraits): CheckFinding[] {
  if (report.samples === 0) return [{ code: 'no-data', weight: 'wrong', message: 'No samples came.' }];
  return [
    ...accelFindings(report),
    ...gyroFindings(report),
    ...streamFindings(report),
    ...rangeFindings(report, traits),
    ...restFindings(report),
  ];
}

function accelFindings({ rest, accelMps2, gyroRadps }: Draft): CheckFinding[] {
  const found: CheckFinding[] = [];
  if (rest !== null) {
    const ratio = rest.forceMps2 / standardGravityMps2;
    if (!(Math.abs(ratio - 1) <= gravityShare)) {
      const message = `|a| at rest is ${short(rest.forceMps2)} m/s² (${short(ratio)} g) and should be 9.81 m/s²: ${accelReason(ratio)}.`;
      found.push({ code: 'accel-scale', weight: 'wrong', message });
    }
  }
  // At rest a coarse reading may stand still; while the sensor is turned none does.
  const largest = Math.max(...accelMps2.greatest, ...accelMps2.least.map((value) => -value));
  if (widest(accelMps2) < turnedShare * largest) return found;
  for (const [name, ranges] of [['accelerometer', accelMps2] as const, ['gyroscope', gyroRadps] as const]) {
    if (ranges === null) continue;
    const stuck = ['x', 'y', 'z'].filter((_, axis) => ranges.least[axis] === ranges.greatest[axis]);
    if (stuck.length === 0) continue;
    const message = `The ${name}'s ${stuck.join(', ')} never changed while it was moved: not connected, not read, or left out of the packet.`;
    found.push({ code: 'axis-stuck', weight: 'wrong', message });
  }
  return found;
}

function widest({ least, greatest }: AxisRanges): number {
  return Math.max(...greatest.map((value, axis) => value - least[axis]!));
}

function accelReason(ratio: number): string {
  const known: readonly (readonly [number, string])[] = [
    [1 / standardGravityMps2, 'the values seem to be in g where m/s² is stated'],
    [standardGravityMps2, 'the values seem to be in m/s² where g is stated'],
    [1000, 'the values seem to be in milli-g where g is stated'],
    [1 / 1000, 'the values seem to be in g where milli-g is stated'],
  ];
  const reason = known.find(([factor]) => Math.abs(ratio / factor - 1) <= gravityShare)?.[1];
  if (reason !== undefined) return reason;
  const power = Math.log2(ratio);
  if (Math.abs(power - Math.round(power)) < 0.14 && Math.abs(power) < 4.5) {
    return `the scale is ${short(1 / 2 ** Math.round(power))} times what is stated, as with another range of the chip`;
  }
  return `the scale seems to be ${short(1 / ratio)} times what is stated`;
}

function gyroFindings({ turns, gyroRadps, rest }: Draft): CheckFinding[] {
  if (gyroRadps === null) return [];
  if (turns === null) {
    return rest === null
      ? []
      : [
          {
            code: 'not-turned',
            weight: 'note',
            message:
              'It was not turned about enough to compare gyroscope and gravity: turn it slowly, each side up once, then try again.',
          },
        ];
  }
  const { gain, gainStandardError, worstError, axes, misfit, unexplained } = turns;
  if (unexplained > unexplainedShare) {
    const message =
      'Gyroscope and gravity could not be brought together: it was turned too hard, or axes, scale or times are wrong. Turn it slowly, each side up once, then try again.';
    return [{ code: 'gyro-disagrees', weight: 'note', message }];
  }
  if (misfit > misfitShare + (2 * worstError) / gain) {
    const message = 'Gyroscope and gravity disagree about the turns, in no simple way: axes, scale or times are wrong.';
    return [{ code: 'gyro-disagrees', weight: 'wrong', message }];
  }
  const found: CheckFinding[] = [];
  if (axes.join() !== '1,2,3') {
    const all = axes.join() === '-1,-2,-3';
    const message = all
      ? 'The gyroscope reads all turns the wrong way round against gravity: turn the sign of gyroscope or accelerometer.'
      : `Axes or signs of gyroscope and accelerometer disagree: they would agree with the gyroscope's axes ${axes.join(' ')}.`;
    found.push({ code: 'gyro-axes', weight: 'wrong', message });
  }
  if (Math.abs(gain - 1) > gainShare + 3 * gainStandardError) {
    found.push({
      code: 'gyro-scale',
      weight: 'wrong',
      message: `Turns are ${short(gain)} times as large as the gyroscope reads: ${gyroReason(gain)}.`,
    });
  }
  return found;
}

function gyroReason(gain: number): string {
  const degrees = 180 / Math.PI;
  if (Math.abs(gain / degrees - 1) < gainShare) return 'the values seem to be in rad/s where deg/s is stated';
  if (Math.abs(gain * degrees - 1) < gainShare) return 'the values seem to be in deg/s where rad/s is stated';
  const power = Math.log2(gain);
  if (Math.abs(power - Math.round(power)) < 0.12) return 'as with another range of the chip than is stated';
  return 'the scale is not what is stated';
}

function streamFindings(report: Draft): CheckFinding[] {
  const found: CheckFinding[] = [];
  const { sampleRateHz, nominalRateHz, missingSamples, samples, corruptCount } = report;
  if (sampleRateHz !== null && Math.abs(sampleRateHz / nominalRateHz - 1) > rateShare) {
    const message = `${short(sampleRateHz)} samples a second come where ${short(nominalRateHz)} are stated: rate or length of a tick is wrong.`;
    found.push({ code: 'rate-off', weight: 'wrong', message });
  }
  const lost = missingSamples / (missingSamples + samples);
  if (lost > lostShare) {
    const message = `${short(100 * lost)} % of the samples were lost: bring it nearer, take other radios away.`;
    found.push({ code: 'samples-lost', weight: 'note', message });
  }
  if (corruptCount > 0) {
    const message = `${corruptCount} packet${corruptCount === 1 ? ' was' : 's were'} damaged or cannot be read.`;
    found.push({ code: 'packets-damaged', weight: corruptCount > 10 ? 'wrong' : 'note', message });
  }
  return found;
}

function rangeFindings({ accelMps2, gyroRadps, clippedShare }: Draft, traits: SensorTraits): CheckFinding[] {
  const found: CheckFinding[] = [];
  const beyond = (ranges: AxisRanges | null, end: number | null) =>
    ranges !== null &&
    end !== null &&
    Math.max(...ranges.greatest, ...ranges.least.map((value) => -value)) > 1.02 * end;
  for (const [name, isBeyond] of [
    ['accelerometer', beyond(accelMps2, traits.accelRangeMps2)],
    ['gyroscope', beyond(gyroRadps, traits.gyroRangeRadps)],
  ] as const) {
    if (!isBeyond) continue;
    const message = `The ${name} read more than its stated range can hold: range or scale is wrong.`;
    found.push({ code: 'beyond-range', weight: 'note', message });
  }
  if (clippedShare > 0) {
    const message = `${short(100 * clippedShare)} % of the samples stand at the end of a range.`;
    found.push({ code: 'clipped', weight: 'note', message });
  }
  return found;
}

function restFindings({ rest }: Draft): CheckFinding[] {
  if (rest === null) {
    const message = 'It never lay still, so that gravity, noise and bias are not known: lay it down for two seconds.';
    return [{ code: 'never-still', weight: 'note', message }];
  }
  const found: CheckFinding[] = [];
  const accelNoise = Math.max(...rest.accelNoiseMps2);
  const gyroNoise = Math.max(...(rest.gyroNoiseRadps ?? [0]));
  if (accelNoise > noiseMps2 || gyroNoise > noiseRadps) {
    const message = `At rest a sample scatters by ${short(accelNoise)} m/s² and ${short((gyroNoise * 180) / Math.PI)} °/s: noisy for this use.`;
    found.push({ code: 'noisy', weight: 'note', message });
  }
  const bias = norm(rest.gyroBiasRadps ?? [0, 0, 0]);
  if (bias > biasRadps) {
    const message = `At rest the gyroscope reads ${short((bias * 180) / Math.PI)} °/s: calibrate it.`;
    found.push({ code: 'bias-large', weight: 'note', message });
  }
  return found;
}

/** Three digits. */
function short(value: number): string {
  return String(Number(value.toPrecision(3)));
}

type Ranges = { readonly least: [number, number, number]; readonly greatest: [number, number, number] };

function emptyRanges(): Ranges {
  const { POSITIVE_INFINITY: most, NEGATIVE_INFINITY: least } = Number;
  return { least: [most, most, most], greatest: [least, least, least] };
}

function widen({ least, greatest }: Ranges, values: Vec3): void {
  for (let axis = 0; axis < 3; axis++) {
    least[axis] = Math.min(least[axis]!, values[axis]!);
    greatest[axis] = Math.max(greatest[axis]!, values[axis]!);
  }
}

function frozen({ least, greatest }: Ranges): AxisRanges {
  return Object.freeze({
    least: Object.freeze([...least]) as unknown as Vec3,
    greatest: Object.freeze([...greatest]) as unknown as Vec3,
  });
}

function middle(vectors: readonly Vec3[]): Vec3 {
  const of = (axis: number): number => {
    const values = vectors.map((each) => each[axis]!).sort((one, other) => one - other);
    return values[Math.floor(values.length / 2)]!;
  };
  return [of(0), of(1), of(2)];
}
