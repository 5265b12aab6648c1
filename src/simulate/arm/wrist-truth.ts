import { type MotionSegment, newState, stateLayout, vectorAt } from '../ball-state.ts';
import { add, conjugate, dot, multiplyQuat, norm, type Quat, rotate, scale, subtract, type Vec3 } from '../vectors.ts';
import { type ArmTrace, quatAt, row } from './arm-motion.ts';
import { armStepS } from './ball-hand.ts';
import type { PlayedArmAct } from './play-arm.ts';
import type {
  WristMeasureName,
  WristShotTruth,
  WristTruthMeasure,
  WristTruthNullReason,
} from './wrist-practice-truth.ts';

const degreesPerRadian = 180 / Math.PI;
/** The way of the hand's middle over this time before release gives the room its x axis. */
const travelS = 0.1;
/** Wrist to the hand's middle as a share of its length, about the knuckles' near end. */
const middleShare = 0.4;
const snapBeforeS = 0.1;
const snapAfterS = 0.15;
/** The forearm turning faster than this ends the follow-through. */
const fallRadps = 60 / degreesPerRadian;
/** The lift starts at the last instant this near to the lowest height. */
const lowestBandM = 0.01;
const pauseMps = 0.3;

export type RawWristShotTruth = Omit<WristShotTruth, 'index'>;

/** Measures one shot on the noise-free motion of arm and ball, by the definitions and not from what was planned. */
export function measureWristTruth(act: PlayedArmAct): RawWristShotTruth {
  const { trace, shot, ball } = act;
  if (!shot || !ball.shot || act.plan.kind !== 'shot') throw new RangeError('the act is not a shot');
  const raw = ball.shot;
  const { releaseS, startKind, pickupS } = raw;
  const arm = new TraceReader(trace);
  const middle = (t: number) => arm.alongHand(t, middleShare * act.handM);
  const travel = subtract(middle(releaseS), middle(releaseS - travelS));
  const wristTravel = subtract(arm.wrist(releaseS), arm.wrist(releaseS - travelS));
  const level = Math.hypot(travel[0], travel[1]);
  const forward: Vec3 = [travel[0] / level, travel[1] / level, 0];
  const left: Vec3 = [-forward[1], forward[0], 0];
  const liftS = pickupS === null ? null : startKind === 'hold' ? pickupS : lastLowest(arm, pickupS, releaseS);
  const none = (reason: WristTruthNullReason): WristTruthMeasure => ({ value: null, reason });
  const since = (atS: number | null): WristTruthMeasure =>
    atS === null ? none('no-low-rest') : { value: releaseS - atS };
  const snap = snapPeak(act.sensorSegments, releaseS);
  const handRate = arm.handRate(releaseS);
  const [wx, wy, wz] = [dot(handRate, forward), dot(handRate, left), handRate[2]];
  const hold = followThrough(arm, releaseS);
  const airborne = shot.takeOffS === null || shot.landingS === null ? null : ([shot.takeOffS, shot.landingS] as const);
  const heading = airborne ? { value: twist(arm.forearm(airborne[0]), arm.forearm(airborne[1])) } : none('no-landing');
  const measures: Record<WristMeasureName, WristTruthMeasure> = {
    pickupToReleaseS: since(pickupS),
    liftToReleaseS: since(liftS),
    pauseS: raw.measures.pauseS as WristTruthMeasure,
    dipDepthM:
      startKind === 'hold' || pickupS === null || liftS === null
        ? none('no-pickup-event')
        : { value: arm.wrist(pickupS)[2] - arm.wrist(liftS)[2] },
    sidePathM: pickupS === null ? none('no-low-rest') : { value: sidePath(arm, pickupS, releaseS, left) },
    snapPeakDegps: snap ? { value: snap.radps * degreesPerRadian } : none('no-snap-peak'),
    snapToReleaseS: snap ? { value: releaseS - snap.atS } : none('no-snap-peak'),
    forearmElevationDeg: { value: arm.elevation(releaseS) * degreesPerRadian },
    pathPlanarity: liftS === null ? none('no-low-rest') : { value: planarity(arm, liftS, releaseS) },
    followThroughS: hold === null ? none('no-fall') : { value: hold },
    headingChangeDeg: heading,
    axisTiltDeg: { value: Math.atan2(-wz, wy) * degreesPerRadian },
    backspinRps: raw.measures.backspinRps as WristTruthMeasure,
  };
  const slope = arm.velocity(releaseS);
  const wristPause = longestPause(arm, pickupS ?? releaseS - 1, releaseS);
  const wristRestS = startKind === 'hold' ? lastRest(arm, Math.max(trace.startS, releaseS - 4), releaseS) : null;
  return {
    startKind,
    pickupS,
    liftS,
    releaseS,
    takeOffS: shot.takeOffS,
    landingS: shot.landingS,
    timeReasons: pickupS === null ? { pickup: 'no-low-rest', lift: 'no-low-rest' } : {},
    pauseAt: raw.pauseAt,
    measures,
    setting: {
      start: act.plan.ball.start.kind,
      motion: act.plan.ball.motion,
      wristRestS,
      wristPauseS: wristPause,
      handRateRadps: [wx, wy, wz],
      boneSnapPeakDegps: boneSnap(arm, act, releaseS) * degreesPerRadian,
      wristVelocityMps: [dot(slope, forward), dot(slope, left), slope[2]],
      wristTravelDeg: Math.atan2(dot(wristTravel, left), dot(wristTravel, forward)) * degreesPerRadian,
      launchDeg: launchHeading(act, forward, left) * degreesPerRadian,
      bodyTurnDeg: airborne ? (arm.yaw(airborne[1]) - arm.yaw(airborne[0])) * degreesPerRadian : 0,
      turnIntegralDeg: airborne ? turnIntegral(arm, ...airborne) * degreesPerRadian : 0,
      spinRps: raw.measures.spinRps.value ?? 0,
      ballAxisTiltDeg: raw.measures.axisTiltDeg.value,
    },
  };
}

/** Heading of the ball at release in the room of the shot. */
function launchHeading(act: PlayedArmAct, forward: Vec3, left: Vec3): number {
  const { ball } = act;
  const releaseS = ball.shot?.releaseS ?? 0;
  const segment = ball.segments.find(({ startS, endS }) => startS <= releaseS && releaseS <= endS);
  const state = newState();
  segment?.stateAt(releaseS, state);
  const velocity = vectorAt(state, stateLayout.velocity);
  return Math.atan2(dot(velocity, left), dot(velocity, forward));
}

/** Reads a trace between its steps: straight lines for places, differences for rates. */
class TraceReader {
  readonly #trace: ArmTrace;

  constructor(trace: ArmTrace) {
    this.#trace = trace;
  }

  get startS(): number {
    return this.#trace.startS;
  }

  get endS(): number {
    return this.#trace.startS + (this.#trace.count - 1) * armStepS;
  }

  wrist(timeS: number): Vec3 {
    return this.#place(this.#trace.wristM, timeS);
  }

  /** A point on the line of the fingers. */
  alongHand(timeS: number, distanceM: number): Vec3 {
    const [i, u] = this.#index(timeS);
    const at = (k: number) => rotate(quatAt(this.#trace.hand, k), [distanceM, 0, 0]);
    return add(this.wrist(timeS), add(scale(at(i), 1 - u), scale(at(i + 1), u)));
  }

  velocity(timeS: number): Vec3 {
    return scale(subtract(this.wrist(timeS + armStepS), this.wrist(timeS - armStepS)), 0.5 / armStepS);
  }

  yaw(timeS: number): number {
    return this.#trace.yawRad[this.#index(timeS)[0]] as number;
  }

  elevation(timeS: number): number {
    const along = subtract(this.wrist(timeS), this.#place(this.#trace.elbowM, timeS));
    return Math.asin(along[2] / norm(along));
  }

  forearm(timeS: number): Quat {
    return quatAt(this.#trace.forearm, this.#index(timeS)[0]);
  }

  handRate(timeS: number): Vec3 {
    return this.#rate(this.#trace.hand, timeS);
  }

  forearmRate(timeS: number): Vec3 {
    return this.#rate(this.#trace.forearm, timeS);
  }

  /** Rate in the room about a time, from the attitudes a step before and a step after, interpolated. */
  #rate(attitudes: Float64Array, timeS: number): Vec3 {
    const [i, u] = this.#index(timeS);
    const at = (k: number): Vec3 => {
      const a = quatAt(attitudes, Math.max(0, k - 1));
      const b = quatAt(attitudes, Math.min(this.#trace.count - 1, k + 1));
      const d = multiplyQuat(b, conjugate(a));
      const size = Math.hypot(d[1], d[2], d[3]);
      const angle = 2 * Math.atan2(size, Math.abs(d[0]));
      const factor = size > 0 ? (angle / size / (2 * armStepS)) * Math.sign(d[0]) : 0;
      return [factor * d[1], factor * d[2], factor * d[3]];
    };
    return add(scale(at(i), 1 - u), scale(at(i + 1), u));
  }

  #place(values: Float64Array, timeS: number): Vec3 {
    const [i, u] = this.#index(timeS);
    return add(scale(row(values, i), 1 - u), scale(row(values, i + 1), u));
  }

  #index(timeS: number): [number, number] {
    const place = (timeS - this.#trace.startS) / armStepS;
    const i = Math.min(this.#trace.count - 2, Math.max(0, Math.floor(place)));
    return [i, Math.min(1, Math.max(0, place - i))];
  }
}

const stepS = 5e-4;

function lastLowest(arm: TraceReader, fromS: number, toS: number): number {
  let lowest = Number.POSITIVE_INFINITY;
  for (let t = fromS; t <= toS; t += stepS) lowest = Math.min(lowest, arm.wrist(t)[2]);
  let at = fromS;
  for (let t = fromS; t <= toS; t += stepS) if (arm.wrist(t)[2] < lowest + lowestBandM) at = t;
  return at;
}

/** What the rule for the pickup of a held ball gives when the wrist stands for the ball; null where it never rests low. */
function lastRest(arm: TraceReader, fromS: number, releaseS: number): number | null {
  const limit = arm.wrist(releaseS)[2] - 0.6;
  for (let t = releaseS; t > fromS; t -= stepS) {
    if (arm.wrist(t)[2] < limit && Math.abs(arm.velocity(t)[2]) < 0.1) return t;
  }
  return null;
}

function longestPause(arm: TraceReader, fromS: number, toS: number): number {
  let best = 0;
  let since: number | null = null;
  for (let t = fromS; t <= toS; t += stepS) {
    if (Math.abs(arm.velocity(t)[2]) < pauseMps) {
      since ??= t;
      best = Math.max(best, t - since);
    } else since = null;
  }
  return best;
}

function sidePath(arm: TraceReader, pickupS: number, releaseS: number, left: Vec3): number {
  const release = arm.wrist(releaseS);
  let largest = 0;
  for (let t = pickupS; t <= releaseS; t += stepS) {
    const side = dot(subtract(arm.wrist(t), release), left);
    if (Math.abs(side) > Math.abs(largest)) largest = side;
  }
  return largest;
}

/** RMS distance of the path from the upright plane that fits it best, over the path's length. */
function planarity(arm: TraceReader, fromS: number, toS: number): number {
  const points: Vec3[] = [];
  let length = 0;
  for (let t = fromS; t <= toS; t += stepS) {
    const at = arm.wrist(t);
    const before = points[points.length - 1];
    if (before) length += norm(subtract(at, before));
    points.push(at);
  }
  const n = points.length;
  const mx = points.reduce((sum, p) => sum + p[0], 0) / n;
  const my = points.reduce((sum, p) => sum + p[1], 0) / n;
  let [xx, xy, yy] = [0, 0, 0];
  for (const [x, y] of points) {
    xx += (x - mx) ** 2;
    xy += (x - mx) * (y - my);
    yy += (y - my) ** 2;
  }
  // Smaller eigenvalue of the level scatter: mean square distance from the best line seen from above.
  const least = (xx + yy) / 2 - Math.sqrt(((xx - yy) / 2) ** 2 + xy ** 2);
  return Math.sqrt(Math.max(0, least / n)) / length;
}

/** Largest local peak of the sensor's angular rate about the release. */
function snapPeak(segments: readonly MotionSegment[], releaseS: number): { atS: number; radps: number } | null {
  const segment = segments[0];
  if (!segment) return null;
  const state = newState();
  const { rate: W } = stateLayout;
  const size = (t: number) => {
    segment.stateAt(t, state);
    return Math.hypot(state[W] as number, state[W + 1] as number, state[W + 2] as number);
  };
  return largestPeak(size, releaseS);
}

function boneSnap(arm: TraceReader, act: PlayedArmAct, releaseS: number): number {
  const size = (t: number) => norm(act.mount === 'back-of-hand' ? arm.handRate(t) : arm.forearmRate(t));
  return largestPeak(size, releaseS)?.radps ?? 0;
}

function largestPeak(size: (t: number) => number, releaseS: number): { atS: number; radps: number } | null {
  const h = 5e-4;
  let best: { atS: number; radps: number } | null = null;
  for (let t = releaseS - snapBeforeS; t <= releaseS + snapAfterS; t += h) {
    const [a, b, c] = [size(t - h), size(t), size(t + h)];
    if (b < a || b < c || (best && b <= best.radps)) continue;
    const curve = a - 2 * b + c;
    const off = curve < 0 ? (0.5 * (a - c)) / curve : 0;
    best = { atS: t + off * h, radps: b - 0.25 * (a - c) * off };
  }
  return best;
}

/** From release until the forearm, having come to rest, turns fast again and falls. Null where it never does. */
function followThrough(arm: TraceReader, releaseS: number): number | null {
  const rate = (t: number) => norm(arm.forearmRate(t));
  let calmS = releaseS;
  while (calmS < arm.endS && rate(calmS) > fallRadps) calmS += stepS;
  let highest = arm.elevation(calmS);
  let fallenS: number | null = null;
  for (let t = calmS; t < arm.endS; t += 2 * stepS) {
    const now = arm.elevation(t);
    highest = Math.max(highest, now);
    if (now < highest - 25 / degreesPerRadian) {
      fallenS = t;
      break;
    }
  }
  if (fallenS === null) return null;
  let t = fallenS;
  while (t > calmS && rate(t) > fallRadps) t -= stepS / 5;
  return t - releaseS;
}

/** Turn about the vertical in the rotation from one attitude to another, degrees. */
function twist(from: Quat, to: Quat): number {
  const d = multiplyQuat(to, conjugate(from));
  const angle = 2 * Math.atan2(d[3], d[0]) * degreesPerRadian;
  return angle > 180 ? angle - 360 : angle < -180 ? angle + 360 : angle;
}

function turnIntegral(arm: TraceReader, fromS: number, toS: number): number {
  let sum = 0;
  for (let t = fromS + armStepS / 2; t < toS; t += armStepS) sum += arm.forearmRate(t)[2] * armStepS;
  return sum;
}
