import { type Shot, type ShotEvent, shotMeasureNames } from '../../src/shots/shot.ts';
import { WristTracker } from '../../src/shots/wrist/wrist-tracker.ts';
import type { MountPlace } from '../../src/simulate/arm/arm-player.ts';
import { drawWristPlan } from '../../src/simulate/arm/wrist-plan.ts';
import { simulateWristPractice } from '../../src/simulate/arm/wrist-practice.ts';
import type { WristPracticeTruth, WristShotTruth } from '../../src/simulate/arm/wrist-practice-truth.ts';
import { wornSensor } from '../../src/simulate/arm/wrist-sensor.ts';
import { drawSensor } from '../../src/simulate/sensor-model.ts';

export interface WristPracticeSpec {
  readonly seed: string;
  readonly shots: number;
  readonly decoys: number;
  readonly rateHz: number;
  readonly place: MountPlace;
  readonly wobbleFactor: number;
  /** Share of the practices that begin with the wearer showing the arm; the simulator's usual one where not given. */
  readonly showShare?: number;
}

export interface PlayedWrist {
  readonly spec: WristPracticeSpec;
  readonly truth: WristPracticeTruth;
  readonly shots: readonly Shot[];
  readonly rejected: number;
  readonly durationS: number;
}

/** Simulates a practice with the usual sensor on the arm and runs the wrist path over it; the mount is told. */
export function playWrist(spec: WristPracticeSpec): PlayedWrist {
  const { seed, shots, decoys, rateHz, place, wobbleFactor } = spec;
  const shows = spec.showShare === undefined ? {} : { showShare: spec.showShare };
  const plan = drawWristPlan(seed, { shots, decoys, player: { place }, ...shows });
  const sensor = wornSensor(drawSensor(`${seed}/worn`, { rateHz }), plan.player.mount);
  const { block, truth, traits } = simulateWristPractice({ seed, plan, sensor, wobbleFactor });
  const tracker = new WristTracker(traits, { mount: place === 'back-of-hand' ? 'back-of-hand' : 'forearm' });
  const events: ShotEvent[] = [...tracker.push(block), ...tracker.finish()];
  return {
    spec,
    truth,
    shots: events.flatMap((event) => (event.kind === 'shot' ? [event.shot] : [])),
    rejected: events.filter((event) => event.kind === 'rejected').length,
    durationS: (block.timeS[block.length - 1] as number) - (block.timeS[0] as number),
  };
}

/** One number that was told, against the truth. */
export interface WristComparison {
  readonly error: number;
  readonly standardError: number;
  readonly inside90: boolean;
  readonly truth: number;
}

/** What many practices gave. */
export class WristScore {
  shots = 0;
  found = 0;
  decoys = 0;
  falseShots = 0;
  durationS = 0;
  readonly missed: string[] = [];
  readonly falseList: string[] = [];
  readonly startKinds = new Map<string, number>();
  readonly comparisons = new Map<string, WristComparison[]>();
  readonly nulls = new Map<string, Map<string, number>>();
  /** Shots above the wrist of a wearer who showed the arm first, and those of them without an elevation though nothing was lost. */
  shownShots = 0;
  shownWithoutElevation = 0;

  add({ spec, truth, shots, durationS }: PlayedWrist): void {
    this.durationS += durationS;
    const used = new Set<Shot>();
    for (const shot of truth.shots) {
      this.shots++;
      const told = nearest(shots, shot, used);
      if (!told) {
        this.missed.push(`seed ${spec.seed} shot ${shot.index} (${shot.setting.start}, ${truth.player.mount})`);
        continue;
      }
      used.add(told);
      this.found++;
      bump(this.startKinds, `${shot.startKind} told as ${told.startKind}`);
      this.compare(shot, told);
      if (spec.showShare !== 1 || spec.place !== 'wrist-forearm') continue;
      this.shownShots++;
      const { forearmElevationDeg: elevation } = told.measures;
      if (elevation.value === null && elevation.reason !== 'gap') this.shownWithoutElevation++;
    }
    for (const decoy of truth.decoys) {
      this.decoys++;
      const wrong = shots.find((shot) => !used.has(shot) && within(shot, decoy.startS, decoy.endS));
      if (!wrong) continue;
      used.add(wrong);
      this.falseShots++;
      this.falseList.push(`seed ${spec.seed} ${decoy.kind}`);
    }
    for (const shot of shots) {
      if (used.has(shot)) continue;
      this.falseShots++;
      this.falseList.push(`seed ${spec.seed} at ${shot.releaseS?.toFixed(2) ?? 'no time'} s, no decoy`);
    }
  }

  private compare(truth: WristShotTruth, told: Shot): void {
    for (const name of ['pickup', 'lift', 'release'] as const) {
      const value = told[`${name}S`];
      const expected = truth[`${name}S`];
      const key = name === 'pickup' ? `${name}, ${truth.startKind === 'hold' ? 'hold' : 'dribble or catch'}` : name;
      if (expected === null) continue;
      if (value === null) this.miss(key, told.timeReasons[name] ?? 'no reason');
      else {
        const standardError = told.timeErrorsS[name] as number;
        this.take(key, { value, standardError }, expected);
      }
    }
    for (const name of shotMeasureNames) {
      const expected = truth.measures[name as keyof typeof truth.measures];
      if (!expected || expected.value === null) continue;
      const measured = told.measures[name];
      if (measured.value === null) this.miss(name, measured.reason);
      else this.take(name, measured, expected.value);
    }
  }

  private take(
    name: string,
    told: { readonly value: number; readonly standardError: number; readonly interval90?: readonly [number, number] },
    truth: number,
  ): void {
    const half = 1.6448536269514722 * told.standardError;
    const [low, high] = told.interval90 ?? [told.value - half, told.value + half];
    const list = this.comparisons.get(name) ?? [];
    list.push({
      error: told.value - truth,
      standardError: told.standardError,
      inside90: truth >= low && truth <= high,
      truth,
    });
    this.comparisons.set(name, list);
  }

  private miss(name: string, reason: string): void {
    const reasons = this.nulls.get(name) ?? new Map<string, number>();
    bump(reasons, reason);
    this.nulls.set(name, reasons);
  }

  /** @returns figures of one quantity; the error is a share of the truth where `relative`. */
  figures(name: string, relative = false) {
    const list = this.comparisons.get(name) ?? [];
    const errors = list.map((c) => (relative ? c.error / c.truth : c.error));
    const reasons = Object.fromEntries(this.nulls.get(name) ?? []);
    return {
      n: list.length,
      rms: rootMeanSquare(errors),
      median: errors.map(Math.abs).sort((a, b) => a - b)[Math.floor(errors.length / 2)] ?? Number.NaN,
      cover90: list.filter((c) => c.inside90).length / list.length,
      meanSquareZ: list.reduce((sum, c) => sum + (c.error / c.standardError) ** 2, 0) / list.length,
      nulls: reasons,
    };
  }
}

/** @returns the shot told at this release; one whose release lies in a gap is known by the time before it. */
function nearest(shots: readonly Shot[], truth: WristShotTruth, used: ReadonlySet<Shot>): Shot | null {
  const { releaseS, pickupS } = truth;
  const fits = (shot: Shot): boolean => {
    if (shot.releaseS !== null) return Math.abs(shot.releaseS - releaseS) < 0.25;
    const known = timeOf(shot);
    return known > (pickupS ?? releaseS - 1.5) - 0.5 && known < releaseS;
  };
  return shots.find((shot) => !used.has(shot) && fits(shot)) ?? null;
}

function within(shot: Shot, startS: number, endS: number): boolean {
  return timeOf(shot) >= startS && timeOf(shot) < endS;
}

function timeOf(shot: Shot): number {
  return shot.releaseS ?? shot.liftS ?? shot.pickupS ?? Number.NaN;
}

function bump(counts: Map<string, number>, key: string): void {
  counts.set(key, (counts.get(key) ?? 0) + 1);
}

function rootMeanSquare(values: readonly number[]): number {
  return Math.sqrt(values.reduce((sum, v) => sum + v * v, 0) / values.length);
}
