import type { DecoyKind } from '../practice-plan.ts';
import { add, addScaled, norm, rotateAboutVertical, scale, subtract, type Vec3, zero3 } from '../vectors.ts';
import {
  type ActContext,
  AngleTracks,
  type ArmRest,
  type ArmScore,
  type Contact,
  type HandAngles,
  hanging,
  shoulderAt,
  WristPath,
} from './arm-score.ts';
import { aheadM, ballAt, grips, type HandStretch, handStretches, shouldersOver, wristHolding } from './ball-hand.ts';
import {
  type Knot,
  passing,
  ScalarTrack,
  stateAfter,
  stateBefore,
  type VectorKnot,
  VectorTrack,
} from './scalar-track.ts';
import type { BallPlayPlan } from './wrist-plan.ts';

type Grip = keyof ReturnType<typeof grips>;

const anglesOf: Readonly<Record<Grip, HandAngles>> = {
  between: { pronationRad: 0.35, flexionRad: -0.35, deviationRad: 0 },
  onTop: { pronationRad: 1.35, flexionRad: -0.2, deviationRad: 0 },
  behind: { pronationRad: 1.15, flexionRad: -0.75, deviationRad: 0 },
  cupped: { pronationRad: -1, flexionRad: -0.4, deviationRad: 0 },
  under: { pronationRad: 1.2, flexionRad: -1, deviationRad: 0 },
};

/** How the hand leaves the ball in each act, or null where the act ends with the ball in the hands. */
const leaves: Readonly<Partial<Record<DecoyKind, Grip>>> = {
  'chest-pass': 'behind',
  'bounce-pass': 'behind',
  'lob-pass': 'behind',
  'spin-out': 'cupped',
  'self-toss': 'cupped',
  'thrown-up': 'cupped',
  'hand-to-hand': 'cupped',
  dribbling: 'onTop',
  drop: 'between',
  slam: 'onTop',
};

/** In these the ball goes to another player or to the floor and does not come back to the arm. */
const gone: readonly DecoyKind[] = ['chest-pass', 'bounce-pass', 'lob-pass', 'drop', 'slam'];

/** The arm holds the ball in front of the standing body, as every act with the ball begins. */
export function holdingRest(context: ActContext): ArmRest {
  const { player, world, ball, endS } = context;
  const { between } = grips(world.ball.radiusM, player.arm.handM, player.side);
  const heightM = ballAt(ball, endS).positionM[2];
  return {
    relativeM: [
      aheadM(player) - between[0],
      player.side * player.halfWidthM - between[1],
      heightM - between[2] - shouldersOver(player, heightM),
    ],
    angles: anglesOf.between,
    swivelRad: 0.35,
  };
}

/** The body stands; the arm goes from one rest to another, or stays. */
export function scoreRest(context: ActContext, to: ArmRest): { score: ArmScore; end: ArmRest } {
  const { player, startS, endS, from } = context;
  const trunk: Vec3 = [0, 0, player.shoulderM];
  const path = new WristPath(
    () => shoulderAt(player, trunk, 0),
    () => 0,
  );
  const doneS = startS + Math.min(0.95, 0.85 * (endS - startS));
  path.through([
    { atS: startS, value: from.relativeM },
    { atS: doneS, value: to.relativeM },
  ]);
  const tracks = new AngleTracks([
    { atS: startS, angles: from.angles, swivelRad: from.swivelRad },
    { atS: doneS, angles: to.angles, swivelRad: to.swivelRad },
  ]);
  return {
    score: {
      startS,
      endS,
      trunk: () => trunk,
      yaw: () => 0,
      wrist: (t) => path.at(t),
      swivel: (t) => tracks.swivel(t),
      angles: (t) => tracks.angles(t),
      contacts: [],
      pulses: [],
    },
    end: to,
  };
}

/** An act with the ball that is no shot: the arm throws, catches, dribbles or carries. */
export function scoreBallPlay(context: ActContext, plan: BallPlayPlan): { score: ArmScore; end: ArmRest } {
  const { player, ball, startS, endS, from, random } = context;
  const { side } = player;
  const { kind } = plan.ball;
  const catches = plan.role === 'catches';
  const all = handStretches(ball.segments);
  const own = ownStretches(all, plan);
  const grip = grips(context.world.ball.radiusM, player.arm.handM, side);
  const leave: Grip | null = catches ? null : (leaves[kind] ?? null);
  // A pass flies along x: its catcher looks the other way.
  const yawRad = catches ? Math.PI : 0;
  const yaw = () => yawRad;
  const level = levelTrack();
  const bobM = kind === 'carry' ? 0.012 * player.statureM : 0;
  const bendM = random.between(0, 0.05) * player.statureM;
  const first = own[0] as HandStretch;
  const last = own[own.length - 1] as HandStretch;
  const isGone = last.toS < endS - 0.05;
  const height = heightTrack();
  const stepHz = random.between(1.6, 2.2);
  const calm = new ScalarTrack([
    { atS: startS, value: 0 },
    { atS: startS + 0.4, value: 1 },
    { atS: Math.max(startS + 0.5, endS - 0.9), value: 1 },
    { atS: endS - 0.2, value: 0 },
  ]);
  const trunk = (t: number): Vec3 => {
    const [x, y] = level.at(t);
    return [x, y, height.at(t) + bobM * calm.at(t) * Math.sin(2 * Math.PI * stepHz * (t - startS))];
  };
  const path = new WristPath((t) => shoulderAt(player, trunk(t), yawRad), yaw);
  path.through([{ atS: startS, value: from.relativeM }]);
  const angleKnots = [{ atS: startS, angles: from.angles, swivelRad: from.swivelRad }];
  own.forEach((stretch, i) => {
    const begins = stretch === all[0];
    const enters: Grip = begins ? 'between' : catches ? 'behind' : (leave ?? 'between');
    if (!begins) approach(stretch.fromS, enters, i === 0);
    hold(stretch, enters);
  });
  const end = isGone ? hanging(player) : holdingRest(context);
  if (isGone) goHome(last.toS, end);
  const tracks = new AngleTracks(spacedKnots());
  const contacts: Contact[] = own.map((stretch) => ({
    ...stretch,
    share: kind === 'dribbling' || kind === 'slam' ? 1 : 0.55,
  }));
  return {
    score: {
      startS,
      endS,
      trunk,
      yaw,
      wrist: (t) => path.at(t),
      swivel: (t) => tracks.swivel(t),
      angles: (t) => tracks.angles(t),
      contacts,
      pulses: [],
    },
    end,
  };

  function hold(stretch: HandStretch, enters: Grip): void {
    const returns = stretch.toS >= endS - 0.05;
    const exits: Grip = returns ? 'between' : (leave ?? 'between');
    const lengthS = stretch.toS - stretch.fromS;
    const knots: VectorKnot[] = [{ atS: stretch.fromS, value: grip[enters] }];
    angleKnots.push({ atS: stretch.fromS, angles: anglesOf[enters], swivelRad: 0.3 });
    if (kind === 'pump-fake') {
      const topS = highest(stretch);
      knots.push({ atS: topS - 0.05, value: addScaled(scale(grip.under, 0.75), grip.between, 0.25) });
      knots.push({ atS: topS + 0.05, value: addScaled(scale(grip.under, 0.75), grip.between, 0.25) });
      angleKnots.push({ atS: topS, angles: anglesOf.under, swivelRad: 0.2 });
      knots.push({ atS: Math.max(topS + 0.35, stretch.toS - 0.3), value: grip.between });
    } else if (returns) {
      knots.push({ atS: stretch.fromS + Math.min(0.6, 0.5 * lengthS), value: grip.between });
    } else {
      const rollS = Math.min(0.1, 0.35 * lengthS);
      const velocity = rotateAboutVertical(ballAt(ball, stretch.toS).velocityMps, -yawRad);
      const rate = scale(velocity, exits === 'onTop' || kind === 'drop' ? 0.2 : 0.35);
      knots.push({ atS: stretch.toS - rollS, value: grip[exits] });
      knots.push({ atS: stretch.toS, value: addScaled(grip[exits], rate, rollS / 2.5), rate });
      angleKnots.push({ atS: stretch.toS - rollS, angles: anglesOf[exits], swivelRad: 0.3 });
      const snap = kind === 'drop' ? 0 : 0.7;
      angleKnots.push({
        atS: stretch.toS + 0.08,
        angles: { ...anglesOf[exits], flexionRad: anglesOf[exits].flexionRad + snap },
        swivelRad: 0.3,
      });
    }
    if (returns) angleKnots.push({ atS: stretch.fromS + 0.5 * lengthS, angles: anglesOf.between, swivelRad: 0.35 });
    const meeting =
      stretch === all[0]
        ? undefined
        : { atS: stretch.fromS, missMps: missed(stretch.fromS), settleS: catches ? 0.11 : 0.06 };
    path.inRoom(stretch.fromS, wristHolding(ball, yaw, new VectorTrack(knots), meeting));
  }

  /** Shoulders over the ball while it is held; upright before and after. */
  function heightTrack(): ScalarTrack {
    const over = (t: number) => shouldersOver(player, ballAt(ball, t).positionM[2]);
    const stance = (stretch: HandStretch) => {
      let lowest = player.shoulderM;
      for (let t = stretch.fromS; t <= stretch.toS; t += 0.02) lowest = Math.min(lowest, over(t));
      return Math.max(lowest, 0.72 * player.shoulderM) - bendM;
    };
    const knots: Knot[] = [{ atS: startS, value: first === all[0] ? over(startS) : player.shoulderM }];
    const add = (atS: number, value: number) => {
      if (atS - (knots[knots.length - 1] as Knot).atS >= 0.15 && atS < endS - 0.3) knots.push({ atS, value });
    };
    for (const stretch of own) {
      add(stretch.fromS + 0.2, stance(stretch));
      add(stretch.toS, stance(stretch));
    }
    knots.push({ atS: endS, value: isGone ? player.shoulderM : over(endS) });
    return new ScalarTrack(knots);
  }

  function missed(atS: number): Vec3 {
    return scale(ballAt(ball, atS).velocityMps, catches ? 0.45 : 0.7);
  }

  function approach(atS: number, gripName: Grip, isFirst: boolean): void {
    const before = isFirst ? startS : (own.findLast(({ toS }) => toS < atS)?.toS ?? startS);
    const meeting = { atS, missMps: missed(atS), settleS: 0.1 };
    const target = wristHolding(ball, yaw, new VectorTrack([{ atS, value: grip[gripName] }]), meeting);
    const endState = stateAfter((t) => path.toRelative(target(t), t), atS);
    const start = isFirst
      ? { value: from.relativeM, rate: zero3, bend: zero3 }
      : stateBefore((t) => path.relativeAt(t), before);
    const lengthS = atS - before;
    const waitS = isFirst ? Math.min(0.7, 0.5 * lengthS) : Math.min(0.16, 0.35 * lengthS);
    const stop = isFirst ? add(endState.value, [-0.05, 0, -0.04]) : addScaled(start.value, start.rate, 0.4 * waitS);
    path.through([
      { atS: before, ...start },
      { atS: before + waitS, value: stop },
      ...(isFirst && lengthS - waitS > 0.35 ? [{ atS: atS - 0.22, value: stop }] : []),
      { atS, value: endState.value, rate: endState.rate },
    ]);
  }

  function goHome(fromS: number, to: ArmRest): void {
    const start = stateBefore((t) => path.relativeAt(t), fromS);
    const full = player.arm.upperArmM + player.arm.forearmM;
    // A body that leaned after the ball takes its time to come back.
    const overM = Math.max(0, norm(start.value) - full);
    const stopS = random.between(0.12, 0.2) + 0.6 * overM;
    const stayS = random.between(0.05, 0.6);
    const homeS = random.between(0.4, 0.8);
    const ahead = addScaled(start.value, start.rate, 0.42 * stopS);
    const stop = scale(ahead, Math.min(1, (0.95 * full) / norm(ahead)));
    const swing = scale(subtract(to.relativeM, stop), 1.2 / homeS);
    path.through([
      { atS: fromS, ...start },
      { atS: fromS + stopS, value: stop },
      { atS: fromS + stopS + stayS, value: stop },
      // In front of the body, not through the shoulder.
      {
        atS: fromS + stopS + stayS + 0.45 * homeS,
        value: [0.6 * full, stop[1] / 2, 0.5 * stop[2] - 0.45 * full],
        rate: swing,
      },
      { atS: fromS + stopS + stayS + homeS, value: to.relativeM },
    ]);
    angleKnots.push({ atS: fromS + stopS + stayS + homeS, angles: to.angles, swivelRad: to.swivelRad });
  }

  function spacedKnots() {
    const kept: typeof angleKnots = [];
    for (const knot of angleKnots.toSorted((a, b) => a.atS - b.atS)) {
      const before = kept[kept.length - 1];
      if (!before || knot.atS - before.atS >= 0.03) kept.push(knot);
    }
    return kept;
  }

  function highest(stretch: HandStretch): number {
    let best = stretch.fromS;
    let top = Number.NEGATIVE_INFINITY;
    for (let t = stretch.fromS; t < stretch.toS; t += 0.005) {
      const z = ballAt(ball, t).positionM[2];
      if (z > top) {
        top = z;
        best = t;
      }
    }
    return best;
  }

  function levelTrack(): VectorTrack {
    // Room for a hand behind the ball, or under it.
    const needsRoom = kind === 'pump-fake' || (leave === 'behind' && !catches);
    const further = (t: number) => (needsRoom && t > startS + 0.15 ? 0.12 : 0);
    const stations: { atS: number; value: Vec3 }[] = [];
    const beside = kind === 'dribbling' ? -0.16 * side : 0;
    const place = (t: number, far = 1): Vec3 => {
      const offset = rotateAboutVertical(
        [far * aheadM(player) + further(t), beside * (t > startS + 0.3 ? 1 : 0), 0],
        yawRad,
      );
      return subtract(ballAt(ball, t).positionM, offset);
    };
    const station = (atS: number, value: Vec3) => {
      const before = stations[stations.length - 1];
      if (!before || atS - before.atS > 0.08) stations.push({ atS, value });
    };
    for (const stretch of own) {
      const lengthS = stretch.toS - stretch.fromS;
      const parts = Math.max(1, Math.round(lengthS / 0.4));
      const thrown = gone.includes(kind) && !catches;
      for (let k = 0; k <= parts; k++) {
        const atS = stretch.fromS + (lengthS * k) / parts;
        station(atS, thrown && k > 0 ? addScaled(scale(place(stretch.fromS), 0.2), place(atS), 0.8) : place(atS));
        // A body gives way to a pass as the hands do.
        if (k === 0 && catches) for (const after of [0.12, 0.24]) station(atS + after, place(atS + after));
      }
    }
    const opening = stations[0] as { atS: number; value: Vec3 };
    if (opening.atS > startS + 0.1) stations.unshift({ atS: startS, value: opening.value });
    const lastOne = stations[stations.length - 1] as { atS: number; value: Vec3 };
    if (lastOne.atS < endS - 0.6) stations.push({ atS: lastOne.atS + 0.5, value: lastOne.value });
    const axis = (i: 0 | 1) =>
      passing(
        stations.map(({ atS, value }, k) => ({
          atS,
          value: value[i],
          ...(k === 0 || k === stations.length - 1 ? { rate: 0 } : {}),
        })),
        4.5,
      );
    const [x, y] = [axis(0), axis(1)];
    return new VectorTrack(
      x.map((knot, k) => ({
        atS: knot.atS,
        value: [knot.value, y[k]?.value ?? 0, 0],
        rate: [knot.rate ?? 0, y[k]?.rate ?? 0, 0],
      })),
    );
  }
}

function ownStretches(all: readonly HandStretch[], plan: BallPlayPlan): readonly HandStretch[] {
  if (plan.role === 'catches') return all.slice(-1);
  if (gone.includes(plan.ball.kind)) return all.slice(0, 1);
  // The ball goes from hand to hand: every other time it is in this one, and in both at the end.
  if (plan.ball.kind === 'hand-to-hand') return all.filter((_, i) => i % 2 === 0 || i === all.length - 1);
  return all;
}
