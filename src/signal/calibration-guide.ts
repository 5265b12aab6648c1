/**
 * Leads through the calibration of a sensor by what it reads: which side was laid up, whether it lay still, how far it was
 * turned. Blocks go in, what happened and what comes next comes out; nobody has to press a key.
 *
 * First the six sides, then check positions of any other kind, then (with a gyroscope) turns on a table: about each of three
 * sides once one way and once the other.
 */
import type { ImuBlock } from '../foundation/imu-block.ts';
import { sampleFlag } from '../foundation/imu-block.ts';
import { fitKnownTurns, type GyroCalibration, type SeenTurn } from './known-turns.ts';
import {
  type AccelCalibration,
  fitSixPositions,
  gravityError,
  meanOf,
  type Side,
  sides,
  sideUp,
} from './six-positions.ts';
import { StillWatch, type StillWindow } from './still-windows.ts';
import { add, dot, norm, scale, subtract, unit, type Vec3, vecAt } from './vec3.ts';

export interface CalibrationGuideOptions {
  readonly hasGyro: boolean;
  /** Whole turns at a time. Default 1. */
  readonly turns?: number;
}

/** What happened, for a person. */
export type GuideEvent =
  | { readonly kind: 'position'; readonly side: Side; readonly missing: readonly Side[] }
  | { readonly kind: 'accel-fitted'; readonly calibration: AccelCalibration }
  | { readonly kind: 'check-position'; readonly errorMps2: number; readonly left: number }
  | { readonly kind: 'turn'; readonly side: Side; readonly readDegrees: number; readonly left: number }
  | { readonly kind: 'turn-refused'; readonly readDegrees: number; readonly why: string }
  | { readonly kind: 'refused'; readonly why: string }
  | { readonly kind: 'done'; readonly result: CalibrationResult };

export interface CalibrationResult {
  readonly accel: AccelCalibration;
  /** Size after correction less g in positions that the fit did not have, m/s². */
  readonly checkErrorsMps2: readonly number[];
  /** Null without a gyroscope. */
  readonly gyro: GyroCalibration | null;
}

export const checkPositions = 2;
export const turnsWanted = 6;
const stillWindowsAPosition = 3;
const longestRun = 8;
/** A check position is at least so far from all others. */
const apartDegrees = 20;
/** At rest a gyroscope reads this at most, besides its bias. */
const restSpreadRadps = 0.03;
/** A read angle this far from the known one is another number of turns, or none. */
const turnShare = 0.25;
/** Upright before and after a turn, to this angle. */
const sameUpDegrees = 6;
const otherSideDegrees = 45;
const longestTurnS = 60;

export class CalibrationGuide {
  readonly #hasGyro: boolean;
  readonly #knownRad: number;
  readonly #watch = new StillWatch();
  readonly #sides = new Map<Side, Vec3>();
  #run: StillWindow[] = [];
  #told = false;
  #accel: AccelCalibration | null = null;
  readonly #checkReadings: Vec3[] = [];
  readonly #checkErrors: number[] = [];
  readonly #turns: (SeenTurn & { readonly side: Side; readonly positive: boolean })[] = [];
  readonly #biases: Vec3[] = [];
  /** Stillness before a turn, and the reading since. */
  #before: { readonly accel: Vec3; readonly gyro: Vec3; readonly endS: number } | null = null;
  #turned: { readonly stepS: number; readonly gyro: Vec3; readonly timeS: number }[] = [];
  #lastS: number | null = null;
  #broken: string | null = null;
  #done = false;

  constructor({ hasGyro, turns = 1 }: CalibrationGuideOptions) {
    this.#hasGyro = hasGyro;
    this.#knownRad = 2 * Math.PI * turns;
  }

  /** @returns which step is on, in words that stay the same while it is. */
  get step(): 'sides' | 'checks' | 'turns' | 'done' {
    if (this.#done) return 'done';
    if (this.#accel === null) return 'sides';
    return this.#checkErrors.length < checkPositions ? 'checks' : 'turns';
  }

  push(block: ImuBlock): readonly GuideEvent[] {
    const events: GuideEvent[] = [];
    // Sample by sample, so that it does not matter how the stream is cut.
    for (let at = 0; at < block.length && !this.#done; at++) {
      const sample = sampleOf(block, at);
      if (this.step === 'turns') this.#follow(sample);
      for (const window of this.#watch.push(sample)) this.#takeWindow(window, events);
    }
    return events;
  }

  #takeWindow(window: StillWindow, events: GuideEvent[]): void {
    const gyroStill = window.gyroSpread === null || Math.max(...window.gyroSpread) < restSpreadRadps;
    const goesOn = this.#run.length === 0 || angleBetween(this.#run[0]!.accel, window.accel) < sameUpDegrees;
    if (!window.still || !gyroStill || !goesOn) {
      this.#run = [];
      this.#told = false;
      if (!window.still || !gyroStill) return;
    }
    this.#run.push(window);
    // The first window may still hold the end of laying it down; of a long rest the last ones are enough.
    if (this.#run.length > longestRun) this.#run.splice(1, 1);
    if (this.#run.length < stillWindowsAPosition) return;
    if (this.step === 'turns') this.#takeTurn(events);
    else if (!this.#told) {
      this.#told = true;
      const reading = meanOf(this.#run.slice(1).map(({ accel }) => accel));
      this.#takeBias();
      if (this.step === 'sides') this.#takeSide(reading, events);
      else this.#takeCheck(reading, events);
    }
  }

  #takeBias(): void {
    const gyros = this.#run.slice(1).flatMap(({ gyro }) => (gyro ? [gyro] : []));
    if (gyros.length > 0) this.#biases.push(meanOf(gyros));
  }

  #takeSide(reading: Vec3, events: GuideEvent[]): void {
    const side = sideUp(reading);
    if (side === null) {
      events.push({ kind: 'refused', why: 'it stands between two sides: lay it so that one side points up' });
      return;
    }
    if (this.#sides.has(side)) {
      events.push({ kind: 'refused', why: `side ${side} has been up already` });
      return;
    }
    this.#sides.set(side, reading);
    const missing = sides.filter((each) => !this.#sides.has(each));
    events.push({ kind: 'position', side, missing });
    if (missing.length > 0) return;
    const calibration = fitSixPositions([...this.#sides.values()]);
    if (calibration === null) {
      this.#sides.clear();
      events.push({ kind: 'refused', why: 'the six readings make no sense together: begin again with the first side' });
      return;
    }
    this.#accel = calibration;
    events.push({ kind: 'accel-fitted', calibration });
  }

  #takeCheck(reading: Vec3, events: GuideEvent[]): void {
    const others = [...this.#sides.values(), ...this.#checkReadings];
    if (others.some((other) => angleBetween(other, reading) < apartDegrees)) {
      events.push({ kind: 'refused', why: 'it lies as it did before: lay it slanted, between two sides' });
      return;
    }
    const errorMps2 = gravityError(this.#accel!, reading);
    this.#checkReadings.push(reading);
    this.#checkErrors.push(errorMps2);
    events.push({ kind: 'check-position', errorMps2, left: checkPositions - this.#checkErrors.length });
    if (this.step === 'turns' && !this.#hasGyro) this.#finish(events);
  }

  /** Keeps what the gyroscope reads from one stillness to the next. */
  #follow(sample: ImuBlock): void {
    const timeS = sample.timeS[0]!;
    const flags = sample.flags[0]!;
    if (this.#before !== null && this.#lastS !== null) {
      if ((flags & sampleFlag.gapBefore) !== 0) this.#broken = 'samples were lost on the way';
      if ((flags & sampleFlag.gyroClipped) !== 0) this.#broken = 'it was turned faster than the sensor can read';
      if (timeS - this.#before.endS > longestTurnS) {
        this.#before = null;
        this.#turned = [];
      } else {
        this.#turned.push({ stepS: timeS - this.#lastS, gyro: vecAt(sample.gyroRadps!, 0), timeS });
      }
    }
    this.#lastS = timeS;
  }

  #takeTurn(events: GuideEvent[]): void {
    const last = this.#run.at(-1)!;
    const now = {
      accel: meanOf(this.#run.slice(1).map(({ accel }) => accel)),
      gyro: meanOf(this.#run.slice(1).map(({ gyro }) => gyro!)),
      endS: last.endS,
    };
    const before = this.#before;
    if (before !== null) {
      const event = this.#judgeTurn(before, now);
      if (event !== null) events.push(event);
    }
    this.#before = now;
    this.#turned = this.#turned.filter(({ timeS }) => timeS > now.endS);
    this.#broken = null;
    if (this.#turns.length >= turnsWanted) this.#finish(events);
  }

  #judgeTurn(before: { accel: Vec3; gyro: Vec3; endS: number }, now: { accel: Vec3; gyro: Vec3 }): GuideEvent | null {
    const bias = scale(add(before.gyro, now.gyro), 0.5);
    let angleRad: Vec3 = [0, 0, 0];
    let previous = before.gyro;
    for (const { stepS, gyro, timeS } of this.#turned) {
      if (timeS > before.endS) angleRad = add(angleRad, scale(subtract(scale(add(previous, gyro), 0.5), bias), stepS));
      previous = gyro;
    }
    const up = unit(add(unit(before.accel), unit(now.accel)));
    const readRad = dot(angleRad, up);
    const readDegrees = (readRad * 180) / Math.PI;
    const refused = (why: string): GuideEvent => ({ kind: 'turn-refused', readDegrees, why });
    // It was only touched.
    if (norm(angleRad) < 0.3) return null;
    if (this.#broken !== null) return refused(`${this.#broken}: do it again, more slowly`);
    const tiltDegrees = angleBetween(before.accel, now.accel);
    // Another side was laid up.
    if (tiltDegrees > otherSideDegrees) return null;
    if (tiltDegrees > sameUpDegrees) return refused('it does not lie as before: turn it flat on the table');
    const share = Math.abs(readRad) / this.#knownRad;
    if (Math.abs(share - 1) > turnShare) {
      const wanted = (this.#knownRad * 180) / Math.PI;
      return refused(`expected ${wanted.toFixed(0)}°: whole turns, back to the mark`);
    }
    const side = sideUp(up);
    if (side === null) return refused('it stands between two sides: lay it so that one side points up');
    const positive = readRad > 0;
    const axis = side[1];
    const same = this.#turns.filter((turn) => turn.side[1] === axis);
    if (same.some((turn) => turn.positive === positive)) {
      return refused(
        same.length >= 2 ? `the ${axis} axis is done: lay another side up` : 'turn it the other way round now',
      );
    }
    this.#turns.push({ angleRad, up, knownRad: this.#knownRad, side, positive });
    this.#biases.push(bias);
    return { kind: 'turn', side, readDegrees, left: turnsWanted - this.#turns.length };
  }

  #finish(events: GuideEvent[]): void {
    const gyro = this.#hasGyro ? fitKnownTurns(this.#turns, meanOf(this.#biases)) : null;
    this.#done = true;
    const result = { accel: this.#accel!, checkErrorsMps2: Object.freeze([...this.#checkErrors]), gyro };
    events.push({ kind: 'done', result: Object.freeze(result) });
  }
}

function sampleOf(block: ImuBlock, at: number): ImuBlock {
  return {
    length: 1,
    timeS: block.timeS.subarray(at, at + 1),
    accelMps2: block.accelMps2.subarray(3 * at, 3 * at + 3),
    gyroRadps: block.gyroRadps?.subarray(3 * at, 3 * at + 3) ?? null,
    flags: block.flags.subarray(at, at + 1),
  };
}

function angleBetween(one: Vec3, other: Vec3): number {
  return (Math.acos(Math.max(-1, Math.min(1, dot(unit(one), unit(other))))) * 180) / Math.PI;
}
