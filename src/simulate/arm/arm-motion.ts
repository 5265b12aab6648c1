/** From the score of an act to the poses of forearm, hand and sensor, step by step. */
import type { MotionSegment } from '../ball-state.ts';
import {
  addScaled,
  multiplyQuat,
  norm,
  normaliseQuat,
  type Quat,
  quatFromRotationVector,
  rotate,
  rotateBack,
  scale,
  subtract,
  unitOr,
  type Vec3,
} from '../vectors.ts';
import { eased, forearmAttitude, forearmUnderHand, leanToReach, placeElbow, smoothStep } from './arm-chain.ts';
import { type ArmPlayer, radians } from './arm-player.ts';
import { type ArmScore, hanging, shoulderAt } from './arm-score.ts';
import { armStepS, type Give } from './ball-hand.ts';
import { PoseNodes } from './pose-nodes.ts';
import { Oscillator, pulseSum, smoothColumns } from './reaction.ts';

/** Noise-free bones of one act at steps of `armStepS`, in the room of the act; rows of 3 or 4 numbers. */
export interface ArmTrace {
  readonly startS: number;
  readonly count: number;
  readonly shoulderM: Float64Array;
  readonly elbowM: Float64Array;
  readonly wristM: Float64Array;
  /** Attitudes to the room. */
  readonly forearm: Float64Array;
  readonly hand: Float64Array;
  readonly yawRad: Float64Array;
}

/** Half width of the running means that make a hand's path smooth, in steps. */
const smoothSteps = 8;

/** The bones that a score gives, with what the ball's reaction and pushes from outside do to them. */
export function traceScore(player: ArmPlayer, score: ArmScore, give: Give, shaken: Oscillator, swayOf: Sway): ArmTrace {
  const { firstStep, count } = give;
  const planned = new Float64Array(3 * count);
  for (let i = 0; i < count; i++) planned.set(score.wrist((firstStep + i) * armStepS), 3 * i);
  smoothInside(planned, count);
  const trace: ArmTrace = {
    startS: firstStep * armStepS,
    count,
    shoulderM: new Float64Array(3 * count),
    elbowM: new Float64Array(3 * count),
    wristM: new Float64Array(3 * count),
    forearm: new Float64Array(4 * count),
    hand: new Float64Array(4 * count),
    yawRad: new Float64Array(count),
  };
  const leading = new Leading();
  const hangM = hanging(player).relativeM;
  for (let i = 0; i < count; i++) {
    const timeS = (firstStep + i) * armStepS;
    const yaw = score.yaw(timeS);
    const sway = swayOf(timeS);
    const at = (from: Float64Array, k: number) => from[3 * i + k] as number;
    const push = pulseSum(score.pulses, timeS);
    // Unrest and pushes are in the trunk's axes, which go on from act to act.
    const unrest = aboutVertical(
      [sway[0] + (shaken.x[0] as number), sway[1] + (shaken.x[1] as number), sway[2] + (shaken.x[2] as number)],
      yaw,
    );
    shaken.step(push[0], push[1], push[2]);
    const wrist: Vec3 = [
      at(planned, 0) + at(give.wristM, 0) + unrest[0],
      at(planned, 1) + at(give.wristM, 1) + unrest[1],
      at(planned, 2) + at(give.wristM, 2) + unrest[2],
    ];
    const upright = shoulderAt(player, score.trunk(timeS), yaw);
    const hang = addScaled(upright, aboutVertical(hangM, yaw), 1);
    const away = norm(subtract(wrist, hang)) / (player.arm.upperArmM + player.arm.forearmM);
    const hangs = 1 - smoothStep((away - 0.03) / 0.09);
    const shoulder = leanToReach(player.arm, upright, wrist, [Math.cos(yaw), Math.sin(yaw), 0], hangs);
    const { elbowM, outward } = placeElbow(player.arm, player.side, shoulder, wrist, score.swivel(timeS), yaw);
    const forearmX = unitOr(subtract(wrist, elbowM), [0, 0, -1]);
    const angles = score.angles(timeS);
    const asAngles = forearmAttitude(forearmX, outward, player.side, angles.pronationRad + sway[3]);
    let hand = multiplyQuat(
      asAngles,
      multiplyQuat(
        quatFromRotationVector([0, 0, angles.deviationRad]),
        quatFromRotationVector([0, angles.flexionRad + sway[4], 0]),
      ),
    );
    const weight = score.led ? score.led.weight(timeS) : 0;
    if (score.led && weight > 0) hand = leading.between(hand, score.led.attitude(timeS), weight);
    hand = multiplyQuat(hand, quatFromRotationVector([0, give.bendRad[i] as number, 0]));
    const forearm = forearmUnderHand(forearmX, rotate(hand, [0, 1, 0]));
    hand = withinWrist(forearm, hand);
    trace.shoulderM.set(shoulder, 3 * i);
    trace.elbowM.set(elbowM, 3 * i);
    trace.wristM.set(wrist, 3 * i);
    trace.forearm.set(forearm, 4 * i);
    trace.hand.set(hand, 4 * i);
    trace.yawRad[i] = yaw;
  }
  return trace;
}

/** Smooths a path but for its two ends, where acts meet at rest and none may know of the next. */
function smoothInside(path: Float64Array, count: number): void {
  const smooth = Float64Array.from(path);
  smoothColumns(smooth, 3, smoothSteps);
  for (let i = 0; i < count; i++) {
    const inside = Math.min(1, Math.min(i, count - 1 - i) / (8 * smoothSteps));
    const share = inside * inside * inside * (10 - 15 * inside + 6 * inside * inside);
    for (let k = 3 * i; k < 3 * i + 3; k++) {
      path[k] = (path[k] as number) + share * ((smooth[k] as number) - (path[k] as number));
    }
  }
}

/** Small unrest of an arm that means to be still: wrist x y z in m, roll and bend in rad. */
export type Sway = (timeS: number) => readonly [number, number, number, number, number];

/** Goes a share of the way from one attitude to another, on the way that hangs together with the last one asked for. */
class Leading {
  #last: Quat | null = null;

  between(from: Quat, to: Quat, share: number): Quat {
    let way = multiplyQuat(to, [from[0], -from[1], -from[2], -from[3]]);
    const last = this.#last ?? [1, 0, 0, 0];
    const along = way[0] * last[0] + way[1] * last[1] + way[2] * last[2] + way[3] * last[3];
    if (along < 0) way = [-way[0], -way[1], -way[2], -way[3]];
    this.#last = way;
    const size = Math.sqrt(way[1] * way[1] + way[2] * way[2] + way[3] * way[3]);
    const factor = size > 1e-12 ? (2 * Math.atan2(size, way[0]) * share) / size : 0;
    return multiplyQuat(quatFromRotationVector([factor * way[1], factor * way[2], factor * way[3]]), from);
  }
}

/** No wrist bends back further than about 85° or forward further than 88°: what was asked beyond is not done. */
function withinWrist(forearm: Quat, hand: Quat): Quat {
  const fingers = rotateBack(forearm, rotate(hand, [1, 0, 0]));
  const across = rotateBack(forearm, rotate(hand, [0, 1, 0]));
  const deviation = Math.atan2(-across[0], across[1]);
  const along = Math.cos(deviation) * fingers[0] + Math.sin(deviation) * fingers[1];
  const flexion = Math.atan2(-fingers[2], along);
  const done = -eased(-eased(flexion, radians(75), radians(88)), radians(70), radians(85));
  return done === flexion ? hand : multiplyQuat(hand, quatFromRotationVector([0, done - flexion, 0]));
}

/** Carries the sensor on skin over the bones, act after act, as one unbroken motion in one room. */
export class SensorRide {
  readonly #player: ArmPlayer;
  readonly #nodes = new PoseNodes(armStepS);
  readonly #skin: Oscillator;
  readonly #twist: Oscillator;
  /** The last act's room in the ride's: heading and what is added to positions after turning. */
  #turnRad = 0;
  #shiftM: Vec3 = [0, 0, 0];
  #end: { shoulderM: Vec3; yawRad: number } | null = null;
  #recent: Vec3[] = [];
  #rates: Vec3[] = [];
  #lastAttitude: Quat | null = null;

  constructor(player: ArmPlayer) {
    this.#player = player;
    const { wobbleHz, wobbleDamping } = player.mount;
    this.#skin = new Oscillator(wobbleHz, wobbleDamping, armStepS);
    this.#twist = new Oscillator(1.15 * wobbleHz, wobbleDamping, armStepS);
  }

  /** @returns the motion up to two steps before the act's end. */
  ride(trace: ArmTrace): MotionSegment | null {
    this.#enter(trace);
    for (let i = 0; i < trace.count; i++) this.#step(trace, i);
    return this.#nodes.take();
  }

  #enter(trace: ArmTrace): void {
    if (trace.count === 0) return;
    const shoulder = row(trace.shoulderM, 0);
    if (this.#end) {
      this.#turnRad = this.#end.yawRad - (trace.yawRad[0] as number);
      this.#shiftM = subtract(this.#end.shoulderM, aboutVertical(shoulder, this.#turnRad));
    }
    const last = trace.count - 1;
    const end = aboutVertical(row(trace.shoulderM, last), this.#turnRad);
    this.#end = {
      shoulderM: [end[0] + this.#shiftM[0], end[1] + this.#shiftM[1], end[2] + this.#shiftM[2]],
      yawRad: (trace.yawRad[last] as number) + this.#turnRad,
    };
  }

  #step(trace: ArmTrace, i: number): void {
    const { mount } = this.#player;
    const half = this.#turnRad / 2;
    const room: Quat = [Math.cos(half), 0, 0, Math.sin(half)];
    const segment = multiplyQuat(room, quatAt(mount.place === 'back-of-hand' ? trace.hand : trace.forearm, i));
    const wrist = aboutVertical(row(trace.wristM, i), this.#turnRad);
    const off = rotate(segment, mount.offsetM);
    const bone: Vec3 = [
      wrist[0] + off[0] + this.#shiftM[0],
      wrist[1] + off[1] + this.#shiftM[1],
      wrist[2] + off[2] + this.#shiftM[2],
    ];
    this.#swing(bone, segment);
    const s = this.#skin.x;
    const skin: Vec3 = [bone[0] + (s[0] as number), bone[1] + (s[1] as number), bone[2] + (s[2] as number)];
    const w = this.#twist.x;
    const twist = quatFromRotationVector([w[0] as number, w[1] as number, w[2] as number]);
    this.#nodes.push(skin, normaliseQuat(multiplyQuat(twist, segment)));
  }

  /** Skin and strap follow the bone's acceleration and angular acceleration as masses on damped springs. */
  #swing(bone: Vec3, segment: Quat): void {
    const { wobbleShare } = this.#player.mount;
    this.#recent.push(bone);
    if (this.#recent.length > 3) this.#recent.shift();
    const [a, b, c] = this.#recent;
    const push = (k: 0 | 1 | 2) =>
      a && b && c ? (-wobbleShare * (a[k] - 2 * b[k] + c[k])) / (armStepS * armStepS) : 0;
    this.#skin.step(push(0), push(1), push(2));
    const last = this.#lastAttitude;
    if (last) {
      const d = multiplyQuat(segment, [last[0], -last[1], -last[2], -last[3]]);
      this.#rates.push(scale([d[1], d[2], d[3]], (d[0] < 0 ? -2 : 2) / armStepS));
      if (this.#rates.length > 2) this.#rates.shift();
    }
    this.#lastAttitude = segment;
    const [p, q] = this.#rates;
    const turn = (k: 0 | 1 | 2) => (p && q ? (-0.6 * wobbleShare * (q[k] - p[k])) / armStepS : 0);
    this.#twist.step(turn(0), turn(1), turn(2));
  }
}

export function row(values: Float64Array, i: number): Vec3 {
  return [values[3 * i] as number, values[3 * i + 1] as number, values[3 * i + 2] as number];
}

export function quatAt(values: Float64Array, i: number): Quat {
  return [
    values[4 * i] as number,
    values[4 * i + 1] as number,
    values[4 * i + 2] as number,
    values[4 * i + 3] as number,
  ];
}

function aboutVertical(v: Vec3, angleRad: number): Vec3 {
  const c = Math.cos(angleRad);
  const s = Math.sin(angleRad);
  return [c * v[0] - s * v[1], s * v[0] + c * v[1], v[2]];
}
