import { BallTracker } from '../../src/shots/ball/ball-tracker.ts';
import { type ArmMount, defaultBallSettings, type Shot } from '../../src/shots/shot.ts';
import type { SpinReference } from '../../src/shots/wrist/backspin.ts';
import { addSpinReference, estimateBackspin, type SpinModel, spinModel } from '../../src/shots/wrist/backspin.ts';
import { estimateCountedSpin } from '../../src/shots/wrist/counted-spin.ts';
import { WristTracker } from '../../src/shots/wrist/wrist-tracker.ts';
import type { MountPlace } from '../../src/simulate/arm/arm-player.ts';
import { drawWristPlan, type WristPracticePlan } from '../../src/simulate/arm/wrist-plan.ts';
import { simulatePairedPractice, simulateWristPractice } from '../../src/simulate/arm/wrist-practice.ts';
import type { WristShotTruth } from '../../src/simulate/arm/wrist-practice-truth.ts';
import { drawWristSensor } from '../../src/simulate/arm/wrist-sensor.ts';
import { Random } from '../../src/simulate/random.ts';

/** One simulated player with a sensor on the arm whose backspin is learnt and then told. */
export interface SpinPlayerSpec {
  readonly seed: string;
  readonly place: MountPlace;
  /** Where the spin of the reference shots comes from. */
  readonly from: 'ball-sensor' | 'video';
  readonly references: number;
  readonly shots: number;
}

/** A shot's spin as told, against the truth. */
export interface ToldSpin {
  readonly truthRps: number;
  readonly value: number;
  readonly standardError: number;
  readonly interval90: readonly [number, number];
}

export interface SpinPlayerResult {
  readonly spec: SpinPlayerSpec;
  readonly taken: number;
  readonly refused: readonly string[];
  /** Later shots that have no spin, for the snap was lost or beyond the sensor's range. */
  readonly notGiven: number;
  /** The same later shots before any reference and after them. */
  readonly before: readonly ToldSpin[];
  readonly after: readonly ToldSpin[];
}

const radians = Math.PI / 180;

/**
 * Plays a player's practice: first the reference shots, then the others. The spin of a reference is what a sensor in the ball
 * measured at the same time, or what a person counts on a video of 240 frames a second.
 */
export function playSpinPlayer(spec: SpinPlayerSpec): SpinPlayerResult {
  const { seed, place, from, references, shots } = spec;
  const mount: ArmMount = place === 'back-of-hand' ? 'back-of-hand' : 'forearm';
  const plan = drawWristPlan(seed, { shots: references + shots, decoys: 0, player: { place } });
  const starts = plan.acts.length - references - shots;
  const part = (first: number, count: number): WristPracticePlan => ({
    ...plan,
    acts: [...plan.acts.slice(0, starts), ...plan.acts.slice(starts + first, starts + first + count)],
  });
  const sensor = drawWristSensor(seed, plan.player.mount);
  const learnt = { seed: `${seed}/learnt`, plan: part(0, references), sensor };
  const random = new Random(seed).fork('counts');
  let model: SpinModel = spinModel(mount);
  const refused: string[] = [];
  for (const { snap, spin } of from === 'video' ? counted(learnt, mount, random) : paired(learnt, mount)) {
    const outcome = addSpinReference(model, { ...snap, ...spin, place: mount });
    if (outcome.kind === 'taken') model = outcome.model;
    else refused.push(outcome.evidence);
  }
  const told = { seed: `${seed}/told`, plan: part(references, shots), sensor };
  const { block, truth, traits } = simulateWristPractice(told);
  const before: ToldSpin[] = [];
  const after: ToldSpin[] = [];
  for (const [shot, expected] of matched(wristShots(block, traits, mount), truth.shots)) {
    const snap = snapOf(shot);
    const truthRps = expected.measures.backspinRps.value;
    if (snap === null || truthRps === null) continue;
    for (const [list, known] of [
      [before, spinModel(mount)],
      [after, model],
    ] as const) {
      const spin = estimateBackspin(known, snap.snapRateRadps, snap.snapRateSdRadps);
      if (spin.value === null) continue;
      list.push({ truthRps, value: spin.value, standardError: spin.standardError, interval90: spin.interval90! });
    }
  }
  return { spec, taken: model.references.length, refused, notGiven: truth.shots.length - after.length, before, after };
}

type Reference = {
  readonly snap: Pick<SpinReference, 'snapRateRadps' | 'snapRateSdRadps'>;
  readonly spin: Pick<SpinReference, 'spinRps' | 'spinSdRps'>;
};

function paired(options: Parameters<typeof simulatePairedPractice>[0], mount: ArmMount): Reference[] {
  const { ball, wrist } = simulatePairedPractice(options);
  const tracker = new BallTracker(ball.traits, defaultBallSettings);
  const events = [...tracker.push(ball.block), ...tracker.finish()];
  const finals = events.flatMap((event) => (event.kind === 'shot' && event.shot.stage === 'final' ? [event.shot] : []));
  const found: Reference[] = [];
  for (const [shot, truth] of matched(wristShots(wrist.block, wrist.traits, mount), wrist.truth.shots)) {
    const snap = snapOf(shot);
    const releaseS = ball.truth.shots[truth.index]?.releaseS as number;
    const measured = finals.find((one) => one.releaseS !== null && Math.abs(one.releaseS - releaseS) < 0.1)?.measures
      .backspinRps;
    if (snap === null || !measured || measured.value === null) continue;
    found.push({ snap, spin: { spinRps: measured.value, spinSdRps: measured.standardError } });
  }
  return found;
}

/** A person follows a mark on the ball over most of the flight and tells turns to an eighth. */
function counted(options: Parameters<typeof simulateWristPractice>[0], mount: ArmMount, random: Random): Reference[] {
  const { block, truth, traits } = simulateWristPractice(options);
  const found: Reference[] = [];
  for (const [shot, { measures }] of matched(wristShots(block, traits, mount), truth.shots)) {
    const snap = snapOf(shot);
    const spinRps = measures.backspinRps.value;
    if (snap === null || spinRps === null) continue;
    const frames = Math.round(240 * random.between(0.45, 0.8));
    // Ends fall anywhere within a frame, and a turn is told to the nearest quarter.
    const seen = (spinRps * (frames + random.between(-0.5, 0.5) + random.between(-0.5, 0.5))) / 240;
    const count = estimateCountedSpin({ revolutions: Math.round(4 * seen) / 4, frames, frameRateHz: 240 });
    if (count.kind === 'spin') found.push({ snap, spin: { spinRps: count.spinRps, spinSdRps: count.spinSdRps } });
  }
  return found;
}

function snapOf(shot: Shot): Reference['snap'] | null {
  const { snapPeakDegps: snap } = shot.measures;
  if (snap.value === null) return null;
  return { snapRateRadps: snap.value * radians, snapRateSdRadps: snap.standardError * radians };
}

function wristShots(
  block: Parameters<WristTracker['push']>[0],
  traits: ConstructorParameters<typeof WristTracker>[0],
  mount: ArmMount,
): Shot[] {
  const tracker = new WristTracker(traits, { mount });
  const events = [...tracker.push(block), ...tracker.finish()];
  return events.flatMap((event) => (event.kind === 'shot' ? [event.shot] : []));
}

function matched(told: readonly Shot[], truth: readonly WristShotTruth[]): (readonly [Shot, WristShotTruth])[] {
  return truth.flatMap((shot) => {
    const found = told.find((one) => one.releaseS !== null && Math.abs(one.releaseS - shot.releaseS) < 0.1);
    return found ? [[found, shot] as const] : [];
  });
}
