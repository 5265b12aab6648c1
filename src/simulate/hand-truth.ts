import type { FlightMark } from './act-builder.ts';
import { newState, stateLayout, vectorAt } from './ball-state.ts';
import { firstInstant, lastInstant, type Motion } from './motion.ts';
import type { ShotTruth, TruthMeasure, TruthMeasureName } from './practice-truth.ts';
import type { ShotFrame } from './shot-truth.ts';
import { dot, norm, subtract, type Vec3 } from './vectors.ts';

/** Held this long before the lift, the start is a hold. */
const longHoldS = 1.5;
/** So is a rest of this length, below this drop from release height, slower than this. */
const stillHoldS = 0.4;
const lowDropM = 0.6;
const nearlyStillMps = 0.2;
/** Vertical speed below which a rest restarts the clock of a hold. */
const restMps = 0.1;
/** Vertical speed below which the ball pauses. */
const pauseMps = 0.3;
/** The lift starts at the last instant this near to the lowest height. */
const lowestBandM = 0.01;
const stepS = 5e-4;

type HandMeasure = Extract<
  TruthMeasureName,
  'pickupToReleaseS' | 'liftToReleaseS' | 'pauseS' | 'dipDepthM' | 'sidePathM' | 'spinBeforeLiftRps'
>;

interface HandTruth {
  readonly startKind: ShotTruth['startKind'];
  readonly pickupS: number | null;
  readonly liftS: number | null;
  readonly timeReasons: ShotTruth['timeReasons'];
  readonly pauseAt: ShotTruth['pauseAt'];
  readonly measures: Record<HandMeasure, TruthMeasure>;
}

/** Everything between the hands meeting the ball and the release. */
export function handTruth(motion: Motion, mark: FlightMark, releaseS: number, frame: ShotFrame): HandTruth {
  const state = newState();
  const at = (t: number) => {
    motion.stateAt(t, state);
    return state;
  };
  const heightAt = (t: number) => at(t)[stateLayout.position + 2] as number;
  const upAt = (t: number) => at(t)[stateLayout.velocity + 2] as number;
  const seenS = Math.max(motion.startS, mark.handStartS);
  const meetS = firstInstant(seenS, releaseS, 1e-4, (t) => motion.forceSizeAt(t) > 0.5) ?? seenS;
  const releaseHeightM = heightAt(releaseS);
  const lowAt = (t: number) => heightAt(t) < releaseHeightM - lowDropM;
  const restS = lastInstant(meetS, releaseS, stepS, (t) => lowAt(t) && Math.abs(upAt(t)) < restMps);

  if (isHold()) {
    if (restS === null) {
      const none: TruthMeasure = { value: null, reason: 'no-low-rest' };
      return {
        startKind: 'hold',
        pickupS: null,
        liftS: null,
        timeReasons: { pickup: 'no-low-rest', lift: 'no-low-rest' },
        pauseAt: null,
        measures: {
          pickupToReleaseS: none,
          liftToReleaseS: none,
          pauseS: none,
          dipDepthM: { value: null, reason: 'no-pickup-event' },
          sidePathM: none,
          spinBeforeLiftRps: none,
        },
      };
    }
    return between('hold', restS, restS);
  }
  return between(mark.source === 'dribble' ? 'dribble' : 'catch', meetS, lastLowest(meetS));

  function isHold(): boolean {
    const untilS = restS ?? releaseS;
    const heldSinceS = Math.min(mark.handStartS, meetS);
    if (mark.source === 'hands' || untilS - heldSinceS >= longHoldS) return true;
    return (
      longestRun(meetS, untilS, (t) => lowAt(t) && norm(vectorAt(at(t), stateLayout.velocity)) < nearlyStillMps)
        .lengthS >= stillHoldS
    );
  }

  function lastLowest(fromS: number): number {
    let lowest = Number.POSITIVE_INFINITY;
    for (let t = fromS; t <= releaseS; t += stepS) lowest = Math.min(lowest, heightAt(t));
    return lastInstant(fromS, releaseS, stepS, (t) => heightAt(t) < lowest + lowestBandM) ?? fromS;
  }

  function between(startKind: HandTruth['startKind'], pickupS: number, liftS: number): HandTruth {
    const pause = longestRun(pickupS, releaseS, (t) => Math.abs(upAt(t)) < pauseMps);
    const half = (heightAt(liftS) + releaseHeightM) / 2;
    const pauseAt = pause.lengthS === 0 ? null : meanHeight(pause.startS, pause.lengthS) < half ? 'low' : 'high';
    const dip: TruthMeasure =
      startKind === 'hold'
        ? { value: null, reason: 'no-pickup-event' }
        : { value: heightAt(pickupS) - heightAt(liftS) };
    return {
      startKind,
      pickupS,
      liftS,
      timeReasons: {},
      pauseAt,
      measures: {
        pickupToReleaseS: { value: releaseS - pickupS },
        liftToReleaseS: { value: releaseS - liftS },
        pauseS: { value: pause.lengthS },
        dipDepthM: dip,
        sidePathM: { value: sidePath(pickupS) },
        spinBeforeLiftRps: { value: spinBefore(liftS, startKind === 'hold' ? seenS : pickupS) },
      },
    };
  }

  function meanHeight(fromS: number, lengthS: number): number {
    let sum = 0;
    for (let i = 0; i < 50; i++) sum += heightAt(fromS + ((i + 0.5) / 50) * lengthS);
    return sum / 50;
  }

  function sidePath(pickupS: number): number {
    const release: Vec3 = vectorAt(at(releaseS), stateLayout.position);
    let largest = 0;
    for (let t = pickupS; t <= releaseS; t += stepS) {
      const side = dot(subtract(vectorAt(at(t), stateLayout.position), release), frame.left);
      if (Math.abs(side) > Math.abs(largest)) largest = side;
    }
    return largest;
  }

  /** Mean size of the angular rate over the last tenth of a second before the lift, as far as the ball is in the hands. */
  function spinBefore(liftS: number, sinceS: number): number {
    const fromS = Math.max(sinceS, liftS - 0.1);
    let sum = 0;
    for (let i = 0; i < 100; i++)
      sum += norm(vectorAt(at(fromS + ((i + 0.5) / 100) * (liftS - fromS)), stateLayout.rate));
    return sum / 100 / (2 * Math.PI);
  }
}

/** Longest unbroken stretch in which the condition holds, ends sharpened to 1 µs. */
function longestRun(
  fromS: number,
  toS: number,
  condition: (t: number) => boolean,
): { startS: number; lengthS: number } {
  let best = { startS: fromS, lengthS: 0 };
  let t = fromS;
  while (t < toS) {
    const startS = firstInstant(t, toS, stepS, condition);
    if (startS === null) break;
    const endS = firstInstant(startS + 1e-5, toS, stepS, (u) => !condition(u)) ?? toS;
    if (endS - startS > best.lengthS) best = { startS, lengthS: endS - startS };
    t = endS + stepS;
  }
  return best;
}
