/**
 * The arm in a shot. While the hand holds the ball, the wrist goes where the ball goes, less a grip that rolls from beside
 * the ball to under it to the fingertips; trunk and jump are laid so that arm and hand arrive at the release as planned.
 * After it shoulder and elbow run out from the motion they had. What is left out: the fingers' own joints (they are the
 * change of grip), the other hand, and the ball's turning in the hand before the snap, which follows the ball's own plan.
 *
 * One file past 400 lines, for the tracks share the instants and places worked out at its top.
 */
import { newState } from '../ball-state.ts';
import type { RawShotTruth } from '../shot-truth.ts';
import {
  add,
  addScaled,
  cross,
  dot,
  multiplyQuat,
  norm,
  quatFromRotationVector,
  rotate,
  scale,
  subtract,
  unitOr,
  type Vec3,
  zero3,
} from '../vectors.ts';
import { elbowAngleRad, reachM } from './arm-chain.ts';
import {
  type ActContext,
  AngleTracks,
  type ArmRest,
  type ArmScore,
  type Contact,
  hanging,
  shoulderAt,
  WristPath,
} from './arm-score.ts';
import {
  aheadM,
  ballAt,
  bendRate,
  type Give,
  giveToBall,
  grips,
  type HandStretch,
  handStretches,
  shouldersOver,
  wristHolding,
} from './ball-hand.ts';
import { fingerS, handRateFor } from './hand-spin.ts';
import type { Pulse } from './reaction.ts';
import { type Knot, passing, ScalarTrack, stateAfter, stateBefore, VectorTrack } from './scalar-track.ts';
import type { WristShotPlan } from './wrist-plan.ts';

/** A shot's score with what its truth needs besides. */
export interface ShotScore {
  readonly score: ArmScore & { readonly give: Give };
  readonly end: ArmRest;
  readonly takeOffS: number | null;
  readonly landingS: number | null;
}

const upright = quatFromRotationVector([0, -Math.PI / 2, 0]);

export function scoreShot(context: ActContext, plan: WristShotPlan, shot: RawShotTruth): ShotScore {
  const { player, ball, startS, endS, random } = context;
  const { arm } = plan;
  const { side } = player;
  const g = context.world.gravityMps2;
  const releaseS = shot.releaseS;
  const stretches = handStretches(ball.segments);
  const lastIndex = stretches.findIndex(({ fromS, toS }) => fromS < releaseS && toS >= releaseS - 1e-9);
  const last = stretches[lastIndex];
  if (!last) throw new RangeError('no hand held the ball before the release');
  const start = plan.ball.start.kind;
  const passed = start === 'chest-pass' || start === 'bounce-pass' || start === 'lob-pass';
  const own = passed ? [last] : stretches.slice(0, lastIndex + 1);
  const held = own.length === 1 && !passed;
  const meetS = last.fromS;
  const begin = own[0] as HandStretch;

  // Where body and arm are at release.
  const grip = grips(context.world.ball.radiusM, player.arm.handM, side);
  const atRelease = ballAt(ball, releaseS);
  const tossAxis = unitOr(scale(atRelease.rateRadps, -1), [0, 1, 0]);
  const axis = turnedAxis(tossAxis, arm.axisOffRad);
  const pitched = multiplyQuat(quatFromRotationVector(scale(axis, arm.handPitchRad)), upright);
  const skin = context.world.ball.radiusM + 0.012;
  const releaseOffset = rotate(pitched, [0.9 * player.arm.handM, 0, -skin]);
  const wristM = subtract(atRelease.positionM, releaseOffset);
  const distance = reachM(player.arm, arm.elbowReleaseRad);
  const [ce, se] = [Math.cos(arm.reachRad), Math.sin(arm.reachRad)];
  const [ci, si] = [Math.cos(arm.inwardRad), side * Math.sin(arm.inwardRad)];
  const n: Vec3 = [ce * ci, ce * si, se];
  const up: Vec3 = [-se * ci, -se * si, ce];
  const trunkM = addScaled(addScaled(wristM, n, -distance), [0, side * player.halfWidthM, 0], 1);

  // The jump.
  const jumps = arm.jumpMps > 0.3;
  const airS = jumps ? (2 * arm.jumpMps) / g : 0;
  const sinceTakeOffS = jumps ? (arm.releaseShare * arm.jumpMps) / g : 0.08;
  const takeOffS = releaseS - sinceTakeOffS;
  const landingS = jumps ? takeOffS + airS : releaseS + 0.3;
  const risenM = jumps ? arm.jumpMps * sinceTakeOffS - (g * sinceTakeOffS * sinceTakeOffS) / 2 : 0;
  const standM = trunkM[2] - arm.toeM - risenM;
  const lowS = lowestS(context, held ? Math.max(startS, releaseS - 1.4) : meetS, releaseS - 0.25);
  const height = heightTrack();
  const drift: Vec3 = [arm.driftMps, 0, 0];

  // How the hand leaves the ball.
  const trunkMps: Vec3 = addScaled(drift, [0, 0, 1], jumps ? arm.jumpMps - g * sinceTakeOffS : 0.2);
  const { upperArmM: a, forearmM: b } = player.arm;
  const stretchMps = (a * b * Math.sin(arm.elbowReleaseRad) * arm.elbowRateRadps) / distance;
  const ownMps = addScaled(addScaled(trunkMps, n, stretchMps), up, arm.riseRadps * distance);
  const wristMps: Vec3 = [Math.max(arm.forwardMps, ownMps[0]), 0.3 * ownMps[1], ownMps[2]];
  const leaveMps = subtract(atRelease.velocityMps, wristMps);
  const leaveMps2 = subtract(atRelease.accelerationMps2, addScaled([0, 0, jumps ? -g : 0], n, -4 * stretchMps));
  const rolled = subtract(releaseOffset, grip.under);
  const rollS = Math.min(0.13, Math.max(0.06, (2.5 * dot(rolled, leaveMps)) / dot(leaveMps, leaveMps)));
  const underS = releaseS - rollS;

  const yaw = yawTrack();
  const level = levelTrack();
  const trunk = (t: number): Vec3 => {
    const [x, y] = level.at(t);
    return [x, y, height.at(t)];
  };
  const yawAt = (t: number) => yaw.at(t);
  const path = new WristPath((t) => shoulderAt(player, trunk(t), yaw.at(t)), yawAt);

  // The path of the wrist.
  if (passed) {
    path.through([{ atS: startS, value: context.from.relativeM }]);
    approach(meetS, grip.behind, true);
  }
  own.forEach((stretch, i) => {
    if (stretch === last) return;
    const offset = new VectorTrack([
      { atS: stretch.fromS, value: i === 0 ? grip.between : grip.onTop },
      { atS: stretch.toS, value: grip.onTop, rate: scale(ballAt(ball, stretch.toS).velocityMps, 0.25) },
    ]);
    path.inRoom(stretch.fromS, wristHolding(ball, yawAt, offset));
    approach((own[i + 1] as { fromS: number }).fromS, grip.onTop, false);
  });
  const firstGrip = passed ? grip.behind : held ? grip.between : grip.onTop;
  const sideS = Math.max(lowS, meetS + 0.1);
  const offset = new VectorTrack([
    { atS: meetS, value: firstGrip },
    ...(sideS < underS - 0.12 ? [{ atS: sideS, value: grip.between }] : []),
    { atS: underS, value: grip.under },
    { atS: releaseS, value: releaseOffset, rate: leaveMps, bend: leaveMps2 },
  ]);
  path.inRoom(meetS, wristHolding(ball, yawAt, offset, held ? undefined : meeting(meetS, passed)));
  const hang = hanging(player);
  const fallS = Math.min(releaseS + arm.followThroughS, endS - arm.fallS - 0.15);
  followThrough();

  // The hand.
  const contacts: Contact[] = own.map((stretch) => ({
    ...stretch,
    share: stretch === last && passed ? 0.6 : 0.9,
  }));
  const give = giveToBall(context, contacts);
  const spinRadps = norm(atRelease.rateRadps);
  const gained = subtract(atRelease.velocityMps, ballAt(ball, Math.max(meetS, releaseS - fingerS)).velocityMps);
  const impulseMps = norm(add(gained, [0, 0, g * fingerS]));
  const handRadps =
    handRateFor(spinRadps, player.grip, arm.grip, impulseMps, context.world.ball.radiusM) - bendRate(give, releaseS);
  const cockS = Math.min(0.22, Math.max(0.07, arm.cockRad / (0.42 * Math.max(2, handRadps))));
  const cockedRad = arm.handPitchRad - 0.42 * handRadps * cockS;
  const swungRad = arm.handPitchRad + Math.min(0.47 * handRadps * arm.followS, arm.followPitchRad - arm.handPitchRad);
  const swingS = Math.max(0.05, (swungRad - arm.handPitchRad) / (0.47 * Math.max(2, handRadps)));
  const pitch = new ScalarTrack([
    { atS: releaseS - cockS, value: cockedRad },
    { atS: releaseS, value: arm.handPitchRad, rate: handRadps, bend: handRadps * arm.snapGrowthPerS },
    { atS: releaseS + swingS, value: swungRad },
    { atS: releaseS + swingS + 0.25, value: swungRad + 0.06 },
  ]);
  const weight = new ScalarTrack([
    { atS: releaseS - cockS - 0.13, value: 0 },
    { atS: releaseS - cockS, value: 1 },
    { atS: fallS, value: 1 },
    { atS: fallS + 0.4 * arm.fallS, value: 0 },
  ]);
  const tracks = angleTracks();
  const yawRelease = yaw.at(releaseS);
  return {
    score: {
      startS,
      endS,
      trunk,
      yaw: yawAt,
      wrist: (t) => path.at(t),
      swivel: (t) => tracks.swivel(t),
      angles: (t) => tracks.angles(t),
      led: {
        weight: (t) => weight.at(t),
        attitude: (t) => {
          const swung = multiplyQuat(quatFromRotationVector(scale(axis, pitch.at(t))), upright);
          return multiplyQuat(quatFromRotationVector([0, 0, yaw.at(t) - yawRelease]), swung);
        },
      },
      contacts,
      give,
      pulses: pulses(),
    },
    end: hang,
    takeOffS: jumps ? takeOffS : null,
    landingS: jumps ? landingS : null,
  };

  function heightTrack(): ScalarTrack {
    const stanceM = standM - (held || passed ? 0.15 : 0.4) * arm.crouchM;
    const pushS = jumps
      ? Math.min(0.5, Math.max(0.16, (1.9 * (arm.crouchM + arm.toeM)) / arm.jumpMps))
      : 0.3 + 0.2 * random.unit();
    const crouchS = takeOffS - pushS;
    const knots: Knot[] = [
      { atS: startS, value: passed ? player.shoulderM : shouldersOver(player, ballAt(ball, startS).positionM[2]) },
      { atS: Math.min(startS + 0.4, crouchS - 0.3), value: stanceM },
      { atS: crouchS - 0.25, value: stanceM },
      { atS: crouchS, value: standM - arm.crouchM },
    ];
    if (jumps) {
      const top = standM + arm.toeM;
      const sinkM = 0.45 * arm.jumpMps * arm.landS;
      knots.push(
        { atS: takeOffS, value: top, rate: arm.jumpMps, bend: -g },
        { atS: landingS, value: top, rate: -arm.jumpMps, bend: -g },
        { atS: landingS + arm.landS, value: top - sinkM, bend: 3 },
        { atS: landingS + arm.landS + 0.55, value: player.shoulderM },
      );
    } else {
      knots.push(
        { atS: releaseS, value: standM + arm.toeM, rate: 0.2 },
        { atS: releaseS + 0.25, value: standM + arm.toeM + 0.01 },
        { atS: releaseS + 0.8, value: player.shoulderM },
      );
    }
    return new ScalarTrack(spaced(knots));
  }

  function yawTrack(): ScalarTrack {
    // Nobody turns faster in the air than about 2 rad/s on top of the shot.
    const most = 1.1 * (landingS - releaseS);
    const turnRad = Math.min(most, Math.max(-most, arm.turnRad));
    const dribbles = own.length > 1 ? arm.dribbleYawRad : 0;
    const secondS = own[1]?.fromS ?? meetS;
    return new ScalarTrack(
      spaced([
        { atS: startS, value: 0 },
        ...(dribbles ? [{ atS: secondS, value: dribbles }] : []),
        ...(dribbles && meetS > secondS ? [{ atS: meetS, value: dribbles }] : []),
        { atS: Math.min(lowS + 0.15, takeOffS - 0.02), value: 0 },
        { atS: arm.airTurnRad === undefined ? Math.max(takeOffS, releaseS - 0.02) : takeOffS, value: 0 },
        { atS: landingS, value: jumps ? (arm.airTurnRad ?? turnRad) : 0 },
      ]),
    );
  }

  function levelTrack(): VectorTrack {
    const ahead = (grown: Vec3): Vec3 => add(grown, [aheadM(player), 0, 0]);
    const stations: { atS: number; value: Vec3 }[] = [];
    const startAt = passed
      ? addScaled(scale(trunkM, 0.4), subtract(ballAt(ball, meetS).positionM, ahead([0, 0, 0])), 0.6)
      : subtract(ballAt(ball, startS).positionM, ahead([0, 0, 0]));
    stations.push({ atS: startS, value: startAt });
    if (passed) stations.push({ atS: meetS, value: startAt });
    for (const stretch of own.slice(1)) {
      const atS = stretch === last ? meetS : (stretch.fromS + stretch.toS) / 2;
      const beside: Vec3 = [0, -side * 0.16, 0];
      stations.push({ atS, value: subtract(ballAt(ball, atS).positionM, add(ahead(zero3), beside)) });
    }
    if (own.length > 1 && stations.length === 2)
      stations.splice(1, 0, { atS: begin.toS, value: subtract(ballAt(ball, begin.toS).positionM, ahead(zero3)) });
    const toM = addScaled(trunkM, drift, takeOffS - releaseS);
    if (lowS > (stations[stations.length - 1] as { atS: number }).atS + 0.12 && lowS < underS - 0.2)
      stations.push({ atS: lowS, value: subtract(ballAt(ball, lowS).positionM, ahead(zero3)) });
    // The body stays behind the hand while that is still bent.
    const setM = subtract(ballAt(ball, underS).positionM, grip.under);
    const backM: Vec3 = [Math.min(toM[0], setM[0] - 0.42 * (player.arm.upperArmM + player.arm.forearmM)), toM[1], 0];
    const setS = Math.min(underS, takeOffS - 0.05);
    if (setS > (stations[stations.length - 1] as { atS: number }).atS + 0.12)
      stations.push({ atS: setS, value: backM });
    const landM = addScaled(trunkM, drift, landingS - releaseS);
    const axisKnots = (i: 0 | 1) =>
      spaced([
        ...passing(
          [
            ...stations.map(({ atS, value }, k) => ({ atS, value: value[i], ...(k === 0 ? { rate: 0 } : {}) })),
            { atS: takeOffS, value: toM[i], rate: drift[i] },
          ],
          4.5,
        ),
        { atS: landingS, value: landM[i], rate: drift[i] },
        { atS: landingS + 0.35, value: landM[i] + 0.17 * drift[i] },
      ]);
    const [x, y] = [axisKnots(0), axisKnots(1)];
    return new VectorTrack(
      x.map((knot, k) => {
        const other = y[k] as Knot;
        return { atS: knot.atS, value: [knot.value, other.value, 0], rate: [knot.rate ?? 0, other.rate ?? 0, 0] };
      }),
    );
  }

  /** From where the hand is now to where it meets the ball. */
  function approach(atS: number, gripM: Vec3, ready: boolean): void {
    const fromS = ready ? startS : (own.findLast(({ toS }) => toS < atS)?.toS ?? startS);
    const target = wristHolding(ball, yawAt, new VectorTrack([{ atS, value: gripM }]), meeting(atS, ready));
    const end = stateAfter((t) => path.toRelative(target(t), t), atS);
    const from = ready
      ? { value: context.from.relativeM, rate: zero3, bend: zero3 }
      : stateBefore((t) => path.relativeAt(t), fromS);
    const lengthS = atS - fromS;
    const waitS = ready ? Math.min(0.8, 0.5 * lengthS) : Math.min(0.16, 0.35 * lengthS);
    const stop = ready ? addScaled(end.value, [-0.06, 0, -0.05], 1) : addScaled(from.value, from.rate, 0.4 * waitS);
    path.through([
      { atS: fromS, ...from },
      { atS: fromS + waitS, value: stop },
      ...(ready && lengthS - waitS > 0.35 ? [{ atS: atS - 0.22, value: stop }] : []),
      { atS, value: end.value, rate: end.rate },
    ]);
  }

  function meeting(atS: number, pass: boolean) {
    const { velocityMps } = ballAt(ball, atS);
    const share = pass ? 0.45 : 0.7;
    const missMps = pass ? scale(velocityMps, share) : add(scale(velocityMps, share), [0, 0, 0.25]);
    return { atS, missMps, settleS: pass ? 0.11 : 0.06 };
  }

  function followThrough(): void {
    const last = stateBefore((t) => path.relativeAt(t), releaseS);
    const d = norm(last.value);
    const n0 = scale(last.value, 1 / d);
    const rate = dot(last.rate, n0);
    const turning = scale(cross(last.value, last.rate), 1 / (d * d));
    const elbow = elbowAngleRad(player.arm, d);
    const perRad = (a * b * Math.sin(elbow)) / d;
    const elbowRate = rate / perRad;
    const openS = Math.min(0.22, Math.max(0.05, (2.1 * (arm.elbowEndRad - elbow)) / Math.max(2, elbowRate)));
    const elbowTrack = new ScalarTrack([
      { atS: releaseS, value: elbow, rate: elbowRate, bend: -0.5 * (elbowRate / openS) },
      { atS: releaseS + openS, value: arm.elbowEndRad },
    ]);
    const turnS = 0.2;
    const turnTrack = new VectorTrack([
      { atS: releaseS, value: zero3, rate: turning },
      { atS: releaseS + turnS, value: scale(turning, turnS / 2.3) },
    ]);
    path.relative(releaseS, (t) =>
      scale(rotate(quatFromRotationVector(turnTrack.at(t)), n0), reachM(player.arm, elbowTrack.at(t))),
    );
    const high = path.relativeAt(fallS);
    const full = a + b;
    // An arm that comes down at once is still on its way up.
    const going = arm.followThroughS < 0.22 ? stateBefore((t) => path.relativeAt(t), fallS) : { value: high };
    path.through([
      { atS: fallS, ...going },
      {
        atS: fallS + 0.45 * arm.fallS,
        value: [0.62 * full, -0.1 * full * side, -0.05 * full],
        rate: [0, 0, -3.2 * (full / 0.6)],
      },
      { atS: fallS + arm.fallS, value: hang.relativeM },
    ]);
  }

  function angleTracks(): AngleTracks {
    const raised = { pronationRad: 1.2, flexionRad: -1, deviationRad: 0 };
    const between = { pronationRad: 0.35, flexionRad: -0.35, deviationRad: 0.1 * side };
    const first = held
      ? between
      : passed
        ? { pronationRad: 1.15, flexionRad: -0.75, deviationRad: 0 }
        : { pronationRad: 1.35, flexionRad: -0.2, deviationRad: 0 };
    const knots = [
      { atS: startS, angles: context.from.angles, swivelRad: context.from.swivelRad },
      {
        atS: passed ? Math.max(startS + 0.3, meetS - 0.4) : Math.min(startS + 0.3, meetS - 0.05),
        angles: first,
        swivelRad: 0.35,
      },
      { atS: meetS, angles: first, swivelRad: 0.35 },
      { atS: sideS, angles: between, swivelRad: 0.3 },
      { atS: releaseS - cockS, angles: raised, swivelRad: arm.swivelRad },
      { atS: fallS, angles: { ...raised, flexionRad: 0.5 }, swivelRad: arm.swivelRad },
      { atS: fallS + arm.fallS, angles: hang.angles, swivelRad: hang.swivelRad },
    ];
    return new AngleTracks(spaced(knots));
  }

  function pulses(): Pulse[] {
    if (!jumps) return [];
    const size = random.between(12, 32) * arm.jumpMps;
    const durationS = random.between(0.025, 0.05);
    return [
      { atS: landingS, durationS, peakMps2: [random.normal(0, 0.15) * size, random.normal(0, 0.15) * size, size] },
    ];
  }
}

function turnedAxis(axis: Vec3, offRad: readonly [number, number]): Vec3 {
  const about = quatFromRotationVector([offRad[1], 0, offRad[0]]);
  return rotate(about, axis);
}

/** Last time in the stretch at which the ball is within 2 cm of its lowest. */
function lowestS(context: ActContext, fromS: number, toS: number): number {
  const state = newState();
  let lowest = Number.POSITIVE_INFINITY;
  const heights: number[] = [];
  for (let t = fromS; t <= toS; t += 0.005) {
    context.ball.stateAt(t, state);
    heights.push(state[2] as number);
    lowest = Math.min(lowest, state[2] as number);
  }
  let at = fromS;
  heights.forEach((z, i) => {
    if (z < lowest + 0.02) at = fromS + 0.005 * i;
  });
  return at;
}

/** Knots that come too close after the one before are left out. */
function spaced<T extends { readonly atS: number }>(knots: readonly T[], leastS = 0.02): T[] {
  const kept: T[] = [];
  for (const knot of knots) {
    const before = kept[kept.length - 1];
    if (!before || knot.atS - before.atS >= leastS) kept.push(knot);
  }
  return kept;
}
