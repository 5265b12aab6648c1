/**
 * Leads through the first minute with a sensor by what it reads, and says whether it reads what it should: at rest 1 g and no turning,
 * in motion nothing clipped. A ball then lies, spins and is tossed; an arm hangs and turns the forearm to and fro. Nothing of it is
 * kept: the acts are those from which the analysis of the same stream learns biases and, on the arm, how the sensor sits.
 */
import type { ImuBlock } from '../foundation/imu-block.ts';
import { sampleFlag } from '../foundation/imu-block.ts';
import { resolveParams } from '../foundation/parameters.ts';
import { initialMountObserver, stepMountObserver } from '../shots/wrist/mount-observer.ts';
import { type MountParams, mountParams } from '../shots/wrist/mount-params.ts';
import { meanOf } from '../signal/six-positions.ts';
import { StillWatch } from '../signal/still-windows.ts';
import { norm, type Vec3, vecAt } from '../signal/vec3.ts';

export const firstMinuteSteps = ['rest', 'spin', 'toss', 'hang', 'turns', 'done'] as const;
export type FirstMinuteStep = (typeof firstMinuteSteps)[number];

export interface FirstMinuteProgress {
  readonly step: FirstMinuteStep;
  /** From 0 to 1, of the step. */
  readonly share: number;
  /** What was found; null before it was. */
  readonly found: {
    /** Size of the force at rest less 1 g. */
    readonly restErrorMps2: number | null;
    readonly gyroBiasRadps: Vec3 | null;
    /** Largest rate of turn while it spun. */
    readonly spinRadps: number | null;
    /** Time without support, of the toss. */
    readonly flightS: number | null;
    /** Turns of the forearm to one side and back, each counted once. */
    readonly swings: number | null;
  };
  readonly troubles: readonly FirstMinuteTrouble[];
}

/** What was wrong: the step goes on, or is done all the same. */
export const firstMinuteTroubles = ['rest-off', 'clipped', 'no-gyro'] as const;
export type FirstMinuteTrouble = (typeof firstMinuteTroubles)[number];

const standardGravityMps2 = 9.80665;
const restWindows = 4;
/** A sensor in order is within this of 1 g at rest: 0.25 m/s² of bias and 2 % of scale. */
const mostRestErrorMps2 = 0.5;
const spinLeastRadps = 2 * Math.PI;
const spinS = 1;
/** In the air the reading is drag and the lever of the sensor's place: 20 mm off centre read 3.2 m/s² at 2 turns a second. */
const airMostMps2 = 4.5;
const airLeastS = 0.3;
const hangS = 3;
const hangRateRadps = 0.4;
const hangForceMps2 = 1.2;
const swingsWanted = 6;

/** Of one sensor in the ball or on the arm. */
export class FirstMinute {
  readonly #watch = new StillWatch();
  readonly #mount: MountParams = resolveParams(mountParams);
  readonly #observer = initialMountObserver();
  #step: FirstMinuteStep;
  #share = 0;
  #run: { readonly accel: Vec3; readonly gyro: Vec3 | null }[] = [];
  #lastS: number | null = null;
  #doneS = 0;
  #found: FirstMinuteProgress['found'] = {
    restErrorMps2: null,
    gyroBiasRadps: null,
    spinRadps: null,
    flightS: null,
    swings: null,
  };
  readonly #troubles = new Set<FirstMinuteTrouble>();

  constructor(options: { readonly onArm: boolean; readonly hasGyro: boolean }) {
    this.#step = options.onArm ? 'hang' : 'rest';
    if (!options.hasGyro) this.#troubles.add('no-gyro');
  }

  get progress(): FirstMinuteProgress {
    return { step: this.#step, share: this.#share, found: this.#found, troubles: [...this.#troubles] };
  }

  /** Takes a block; any split of the stream gives the same. */
  push(block: ImuBlock): void {
    for (let i = 0; i < block.length; i++) {
      const timeS = block.timeS[i]!;
      const hasGap = (block.flags[i]! & sampleFlag.gapBefore) !== 0;
      const stepS = this.#lastS === null || hasGap ? 0 : timeS - this.#lastS;
      this.#lastS = timeS;
      const force = vecAt(block.accelMps2, i);
      const rate = block.gyroRadps === null ? null : vecAt(block.gyroRadps, i);
      this.#take(block, i, stepS, force, rate, hasGap);
    }
  }

  #take(block: ImuBlock, i: number, stepS: number, force: Vec3, rate: Vec3 | null, hasGap: boolean): void {
    switch (this.#step) {
      case 'rest':
        this.#takeRest(block, i);
        return;
      case 'spin': {
        const clipped = (block.flags[i]! & sampleFlag.gyroClipped) !== 0;
        if (clipped) this.#troubles.add('clipped');
        const size = rate === null ? 0 : norm(rate);
        if (size < spinLeastRadps) return;
        this.#found = { ...this.#found, spinRadps: Math.max(this.#found.spinRadps ?? 0, size) };
        this.#goOn(stepS, spinS, 'toss');
        return;
      }
      case 'toss': {
        // Both ends of the flight have to be seen.
        if (hasGap || norm(force) > airMostMps2) {
          if (!hasGap && this.#doneS >= airLeastS) {
            this.#found = { ...this.#found, flightS: this.#doneS };
            this.#next('done');
          } else this.#doneS = 0;
          return;
        }
        this.#doneS += stepS;
        this.#share = Math.min(0.9, this.#doneS / airLeastS);
        return;
      }
      case 'hang': {
        const isQuiet =
          (rate === null || norm(rate) < hangRateRadps) && Math.abs(norm(force) - standardGravityMps2) < hangForceMps2;
        if (!isQuiet) {
          this.#doneS = 0;
          this.#share = 0;
          return;
        }
        this.#goOn(stepS, hangS, rate === null ? 'done' : 'turns');
        return;
      }
      case 'turns': {
        stepMountObserver(this.#mount, this.#observer, block, i, [0, 0, 0]);
        const kept = Math.max(0, ...this.#observer.evidence.twists.map(({ count }) => count));
        const swings = kept + (this.#observer.turn?.swings ?? 0);
        this.#found = { ...this.#found, swings };
        this.#share = Math.min(1, swings / swingsWanted);
        if (swings >= swingsWanted) this.#next('done');
        return;
      }
      case 'done':
        return;
    }
  }

  #takeRest(block: ImuBlock, i: number): void {
    for (const window of this.#watch.push(sampleAt(block, i))) {
      if (!window.still) this.#run = [];
      else this.#run.push(window);
      this.#share = Math.min(1, this.#run.length / restWindows);
      if (this.#run.length < restWindows) continue;
      // The first window may still hold the end of laying it down.
      const rest = this.#run.slice(1);
      const restErrorMps2 = norm(meanOf(rest.map(({ accel }) => accel))) - standardGravityMps2;
      const gyros = rest.flatMap(({ gyro }) => (gyro === null ? [] : [gyro]));
      this.#found = { ...this.#found, restErrorMps2, gyroBiasRadps: gyros.length === 0 ? null : meanOf(gyros) };
      if (!(Math.abs(restErrorMps2) <= mostRestErrorMps2)) this.#troubles.add('rest-off');
      this.#next(block.gyroRadps === null ? 'toss' : 'spin');
      return;
    }
  }

  #goOn(stepS: number, wantedS: number, next: FirstMinuteStep): void {
    this.#doneS += stepS;
    this.#share = Math.min(1, this.#doneS / wantedS);
    if (this.#doneS >= wantedS) this.#next(next);
  }

  #next(step: FirstMinuteStep): void {
    this.#step = step;
    this.#share = step === 'done' ? 1 : 0;
    this.#doneS = 0;
  }
}

function sampleAt(block: ImuBlock, i: number): ImuBlock {
  return {
    length: 1,
    timeS: block.timeS.subarray(i, i + 1),
    accelMps2: block.accelMps2.subarray(3 * i, 3 * i + 3),
    gyroRadps: block.gyroRadps?.subarray(3 * i, 3 * i + 3) ?? null,
    flags: block.flags.subarray(i, i + 1),
  };
}
