/** What the data say of their own units: a resting accelerometer reads g however it lies, and gravity turns as the gyroscope says. */

import { standardGravityMps2 } from '../../foundation/constants.ts';

/** How far from 1 g, as a share, an unscaled reading at rest may lie on average. */
const restTolerance = 0.05;
/** From this share on the readings as named are doubted. */
const doubtedSpread = 0.15;
const fewestRests = 4;
const mostRests = 400;

/** Readings at rest in several positions: which unit of each axis makes them all 1 g? */
export class RestingAxes {
  readonly #rests: (readonly [number, number, number])[] = [];

  add(x: number, y: number, z: number): void {
    if (this.#rests.length < mostRests) this.#rests.push([x, y, z]);
  }

  /** Whether every position reads 1 g as the axes are named, or too few were seen to say. */
  fitAsNamed(): boolean {
    return this.#rests.length < fewestRests || this.#spread(1, 1, 1) < doubtedSpread;
  }

  /**
   * @param factors factor of each known unit against the one that an axis is named with, per axis, its own (1) first.
   * @returns the index of the unit per axis that fits, or null when the names fit or nothing does.
   */
  betterUnits(factors: readonly (readonly number[])[]): readonly [number, number, number] | null {
    if (this.fitAsNamed()) return null;
    const [fx = [], fy = [], fz = []] = factors;
    let best: readonly [number, number, number] | null = null;
    let bestChanged = 4;
    for (const [i, x] of fx.entries()) {
      for (const [j, y] of fy.entries()) {
        for (const [k, z] of fz.entries()) {
          const changed = Number(x !== 1) + Number(y !== 1) + Number(z !== 1);
          if (changed >= bestChanged || this.#spread(x, y, z) > restTolerance) continue;
          best = [i, j, k];
          bestChanged = changed;
        }
      }
    }
    return best;
  }

  /** Median distance from 1 g, as a share. */
  #spread(x: number, y: number, z: number): number {
    const off = this.#rests
      .map((rest) => Math.abs(Math.hypot(rest[0] * x, rest[1] * y, rest[2] * z) / standardGravityMps2 - 1))
      .sort((a, b) => a - b);
    return off[Math.floor(off.length * 0.8)] as number;
  }
}

/** Length of a window, s, and how far its |a| may lie from g, as a share. */
const turning = { windowS: 0.05, level: 0.15 } as const;
/** Gravity must have turned by this share of g between two windows to say anything, and not by more than that. */
const turned = { least: 0.04, most: 0.5 } as const;
const fewestTurns = 20;
/** Both directions of change must agree this well. */
const leastCorrelation = 0.45;

interface TurnWindow {
  readonly timeS: number;
  /** Mean specific force, m/s². */
  readonly accel: Float64Array;
  /** Mean of −ω × a, m/s³. */
  readonly change: Float64Array;
}

/** Compares how gravity turns in the sensor's axes with what the gyroscope makes of it, da/dt = −ω × a. */
export class GravityTurns {
  #startS = Number.NaN;
  #n = 0;
  #level = true;
  readonly #sum = new Float64Array(7);
  #before: TurnWindow | null = null;
  #turns = 0;
  #product = 0;
  #predictedSquare = 0;
  #seenSquare = 0;

  add(timeS: number, accel: Float64Array, gyro: Float64Array, at: number): void {
    if (!(timeS - this.#startS < turning.windowS)) {
      this.#endWindow(timeS - this.#startS < 2 * turning.windowS);
      this.#startS = timeS;
    }
    const [ax, ay, az] = [accel[at] as number, accel[at + 1] as number, accel[at + 2] as number];
    const [gx, gy, gz] = [gyro[at] as number, gyro[at + 1] as number, gyro[at + 2] as number];
    const off = Math.abs(Math.hypot(ax, ay, az) / standardGravityMps2 - 1);
    if (off > turning.level) this.#level = false;
    const sum = this.#sum;
    const row = [ax, ay, az, -(gy * az - gz * ay), -(gz * ax - gx * az), -(gx * ay - gy * ax), timeS - this.#startS];
    for (let k = 0; k < 7; k++) sum[k] = (sum[k] as number) + (row[k] as number);
    this.#n += 1;
  }

  #endWindow(adjoining: boolean): void {
    const n = this.#n;
    const mean = this.#sum.map((sum) => sum / n);
    const usable = n >= 3 && this.#level && adjoining;
    const now = usable
      ? { timeS: this.#startS + (mean[6] as number), accel: mean.slice(0, 3), change: mean.slice(3, 6) }
      : null;
    if (now && this.#before) this.#compare(this.#before, now);
    this.#before = now;
    this.#n = 0;
    this.#level = true;
    this.#sum.fill(0);
  }

  #compare(before: TurnWindow, now: TurnWindow): void {
    let seenSquare = 0;
    let predictedSquare = 0;
    let product = 0;
    const spanS = now.timeS - before.timeS;
    for (let k = 0; k < 3; k++) {
      const seen = (now.accel[k] as number) - (before.accel[k] as number);
      const predicted = 0.5 * ((now.change[k] as number) + (before.change[k] as number)) * spanS;
      seenSquare += seen * seen;
      predictedSquare += predicted * predicted;
      product += seen * predicted;
    }
    const share = Math.sqrt(seenSquare) / standardGravityMps2;
    if (share < turned.least || share > turned.most) return;
    this.#turns += 1;
    this.#product += product;
    this.#predictedSquare += predictedSquare;
    this.#seenSquare += seenSquare;
  }

  /** @returns by what the gyroscope's numbers must be multiplied to turn gravity as it turned; null when too little shows. */
  factor(): { readonly factor: number; readonly correlation: number } | null {
    if (this.#turns < fewestTurns || !(this.#predictedSquare > 0)) return null;
    const factor = this.#product / this.#predictedSquare;
    const correlation = this.#product / Math.sqrt(this.#predictedSquare * this.#seenSquare);
    return Math.abs(correlation) < leastCorrelation ? null : { factor, correlation };
  }
}
