/**
 * Acts of the arm alone. Sizes of everyday and sports motions (walking and running arm swing, waving, clapping at 2–4 Hz,
 * layup with a soft wrist, rebound, overhead pass) are common practice, no source; all are drawn wide.
 *
 * One file past 400 lines: ten moves of the same few kinds of numbers, easier to compare side by side.
 */
import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { Random } from '../random.ts';
import { add, scale, type Vec3, zero3 } from '../vectors.ts';
import type { ArmPlayer } from './arm-player.ts';
import {
  type ActContext,
  AngleTracks,
  type ArmRest,
  type ArmScore,
  type HandAngles,
  hanging,
  shoulderAt,
  WristPath,
} from './arm-score.ts';
import type { Pulse } from './reaction.ts';
import { type Knot, ScalarTrack, type VectorKnot, VectorTrack } from './scalar-track.ts';
import type { ArmMovePlan } from './wrist-plan.ts';

interface Scored {
  readonly score: ArmScore;
  readonly end: ArmRest;
}

/** How long a move takes, drawn ahead of it. */
export function moveDurationS(plan: ArmMovePlan, random: Random): number {
  const usual: Readonly<Record<ArmMovePlan['move'], readonly [number, number]>> = {
    clap: [3, 5],
    wave: [3, 5],
    walk: [5, 8],
    run: [4, 7],
    drink: [4, 7],
    gesture: [3, 6],
    'jump-reach': [3, 4],
    layup: [4.5, 5.5],
    rebound: [3.5, 4.5],
    'overhead-pass': [3.2, 4.2],
  };
  const [from, to] = usual[plan.move];
  return from + (to - from) * random.unit();
}

export function scoreMove(context: ActContext, plan: ArmMovePlan): Scored {
  const maker = new MoveMaker(context, plan.size);
  switch (plan.move) {
    case 'clap':
      return maker.clap();
    case 'wave':
      return maker.wave();
    case 'walk':
      return maker.swing(false);
    case 'run':
      return maker.swing(true);
    case 'drink':
      return maker.drink();
    case 'gesture':
      return maker.gesture();
    case 'jump-reach':
      return maker.jumpReach();
    case 'layup':
      return maker.layup();
    case 'rebound':
      return maker.rebound();
    case 'overhead-pass':
      return maker.overheadPass();
  }
}

interface Key {
  readonly atS: number;
  readonly at: Vec3;
  readonly rate?: Vec3;
  readonly angles: HandAngles;
  readonly swivelRad?: number;
}

const palmIn: HandAngles = { pronationRad: 0.3, flexionRad: 0, deviationRad: 0 };
const palmDown: HandAngles = { pronationRad: 1.3, flexionRad: 0, deviationRad: 0 };

class MoveMaker {
  readonly #context: ActContext;
  readonly #player: ArmPlayer;
  readonly #random: Random;
  readonly #size: number;
  /** Length of the whole arm to the wrist. */
  readonly #full: number;
  readonly #side: number;
  readonly #startS: number;
  readonly #endS: number;

  constructor(context: ActContext, size: number) {
    this.#context = context;
    this.#player = context.player;
    this.#random = context.random;
    this.#size = size;
    this.#full = context.player.arm.upperArmM + context.player.arm.forearmM;
    this.#side = context.player.side;
    this.#startS = context.startS;
    this.#endS = context.endS;
  }

  clap(): Scored {
    const hz = this.#random.between(1.8, 4);
    const apart = (0.05 + 0.12 * this.#size) * this.#full * 1.6;
    const heightShare = this.#random.between(-0.35, 0.3);
    const calm = this.#window(0.8, 0.8);
    const inward = this.#player.halfWidthM;
    const base: Vec3 = [0.55 * this.#full, this.#side * (inward - 0.02), heightShare * this.#full];
    const wave = (t: number) => (1 - Math.cos(2 * Math.PI * hz * (t - this.#startS))) / 2;
    const pulses: Pulse[] = [];
    for (let t = this.#startS + 1 / hz; t < this.#endS - 0.9; t += 1 / hz) {
      if (t > this.#startS + 0.9) {
        const peak = -this.#side * this.#random.between(30, 110);
        pulses.push({ atS: t - 0.006, durationS: 0.014, peakMps2: [0, peak, 0] });
      }
    }
    const keys = this.#keys([
      { atS: 0.8, at: base, angles: palmIn },
      { atS: this.#lengthS - 0.8, at: base, angles: palmIn },
    ]);
    return this.#score(keys, {
      pulses,
      extra: (t) => [0, -this.#side * apart * wave(t) * calm.at(t), 0],
    });
  }

  wave(): Scored {
    const hz = this.#random.between(1.3, 3);
    const calm = this.#window(0.9, 0.8);
    const high: Vec3 = [0.3 * this.#full, -0.3 * this.#side * this.#full, (0.25 + 0.45 * this.#size) * this.#full];
    const width = this.#random.between(0.06, 0.16) * this.#full * 1.5;
    const swingTurn = this.#random.between(0.1, 0.5);
    const angles: HandAngles = { pronationRad: 1.2, flexionRad: -0.2, deviationRad: 0 };
    const phase = (t: number) => 2 * Math.PI * hz * (t - this.#startS);
    const keys = this.#keys([
      { atS: 0.9, at: high, angles },
      { atS: this.#lengthS - 0.8, at: high, angles },
    ]);
    return this.#score(keys, {
      extra: (t) => [0, width * Math.sin(phase(t)) * calm.at(t), 0.15 * width * Math.cos(2 * phase(t)) * calm.at(t)],
      extraAngles: (t) => ({
        pronationRad: 0,
        flexionRad: 0,
        deviationRad: swingTurn * Math.sin(phase(t) - 0.6) * calm.at(t),
      }),
    });
  }

  /** Walking or running on the spot of a moving room: arms swing, the body bobs, feet strike. */
  swing(runs: boolean): Scored {
    const strideHz = runs ? this.#random.between(1.2, 1.6) : this.#random.between(0.8, 1.05);
    const swingRad = runs ? this.#random.between(0.4, 0.8) : this.#random.between(0.2, 0.5);
    const elbow = runs ? this.#random.between(1.3, 1.9) : this.#random.between(2.5, 2.9);
    const calm = this.#window(0.7, 0.8);
    const { upperArmM: a, forearmM: b } = this.#player.arm;
    const phase = (t: number) => 2 * Math.PI * strideHz * (t - this.#startS);
    const strike = runs ? this.#random.between(10, 26) : this.#random.between(2, 7);
    const pulses: Pulse[] = [];
    for (let t = this.#startS + 0.5 / strideHz; t < this.#endS - 0.8; t += 0.5 / strideHz) {
      if (t > this.#startS + 0.6)
        pulses.push({
          atS: t,
          durationS: runs ? 0.04 : 0.06,
          peakMps2: [this.#random.normal(0, 0.2) * strike, 0, strike],
        });
    }
    // Upper arm swings about the shoulder; the forearm keeps its angle but for a little.
    const hand = (t: number): Vec3 => {
      const swing = 0.12 + swingRad * Math.sin(phase(t));
      const open = elbow - 0.25 * swingRad * Math.sin(phase(t));
      const fore = swing + (Math.PI - open);
      return [a * Math.sin(swing) + b * Math.sin(fore), 0, -a * Math.cos(swing) - b * Math.cos(fore)];
    };
    const rest = hanging(this.#player).relativeM;
    const from = this.#context.from.relativeM;
    const goes = new VectorTrack([
      { atS: this.#startS, value: from },
      { atS: this.#startS + 0.6, value: rest },
    ]);
    const bobM = runs ? 0.035 : 0.018;
    const keys = this.#keys([{ atS: 0.6, at: rest, angles: { ...palmIn, flexionRad: 0.1 } }]);
    return this.#score(keys, {
      pulses,
      path: (t) => {
        const w = calm.at(t);
        return add(scale(goes.at(t), 1 - w), scale(add(hand(t), [0, -0.05 * this.#side, 0]), w));
      },
      bob: (t) => bobM * calm.at(t) * Math.cos(2 * phase(t)),
    });
  }

  drink(): Scored {
    const mouth: Vec3 = [0.35 * this.#full, this.#side * 0.8 * this.#player.halfWidthM, 0.3 * this.#full];
    const low: Vec3 = [0.5 * this.#full, -0.1 * this.#side, -0.5 * this.#full];
    const sips = 1 + Math.round(2 * this.#size);
    const stepS = (this.#lengthS - 1.8) / sips;
    const keys: Key[] = [{ atS: 0.8, at: low, angles: palmIn }];
    for (let i = 0; i < sips; i++) {
      const at = 0.9 + stepS * i;
      keys.push({ atS: at + 0.35 * stepS, at: mouth, angles: { ...palmIn, deviationRad: 0.2 * this.#side } });
      keys.push({ atS: at + 0.7 * stepS, at: add(mouth, [0, 0, 0.03]), angles: { ...palmIn, pronationRad: 0.8 } });
      if (i < sips - 1) keys.push({ atS: at + stepS, at: add(mouth, [0.12, 0, -0.2]), angles: palmIn });
    }
    return this.#score(this.#keys(keys), {});
  }

  /** Scratching, wiping, pointing, pulling the shirt: a hand that goes about. */
  gesture(): Scored {
    const keys: Key[] = [];
    let atS = 0;
    while (atS < this.#lengthS - 1.6) {
      atS += this.#random.between(0.28, 0.9);
      const reach = this.#random.between(0.45, 0.9) * this.#full;
      const up = this.#random.between(-1.1, 0.9 + 0.3 * this.#size);
      const out = this.#random.between(-0.3, 0.5) * -this.#side;
      const at: Vec3 = [
        reach * Math.cos(up) * Math.cos(out),
        reach * Math.cos(up) * Math.sin(out),
        reach * Math.sin(up),
      ];
      const angles = {
        pronationRad: this.#random.between(-1, 1.3),
        flexionRad: this.#random.between(-0.8, 0.8),
        deviationRad: this.#random.between(-0.25, 0.25),
      };
      keys.push({ atS, at, angles, swivelRad: this.#random.between(0, 0.6) });
      if (!this.#random.chance(0.3)) continue;
      atS += this.#random.between(0.1, 0.7);
      keys.push({ atS, at, angles });
    }
    return this.#score(this.#keys(keys), {});
  }

  /** A jump with the arm up, as to touch the net or block a shot. */
  jumpReach(): Scored {
    const offS = this.#random.between(1, 1.4);
    const upMps = this.#random.between(1.4, 2.6);
    const topS = offS + upMps / standardGravityMps2;
    const high: Vec3 = [this.#random.between(0.05, 0.3) * this.#full, 0, 0.93 * this.#full];
    const back: Vec3 = [-0.25 * this.#full, -0.05 * this.#side, -0.85 * this.#full];
    const angles: HandAngles = { pronationRad: 1.2, flexionRad: -0.3, deviationRad: 0 };
    const slap = this.#random.chance(0.5) ? this.#random.between(0.3, 0.9) : 0;
    const keys = this.#keys([
      { atS: offS - 0.35, at: back, angles: palmIn },
      { atS: offS - 0.08, at: [0.8 * this.#full, 0, -0.1 * this.#full], rate: [0, 0, 3], angles },
      { atS: topS, at: high, angles },
      {
        atS: topS + 0.1,
        at: add(high, [0.2 * slap * this.#full, 0, -0.08 * slap]),
        angles: { ...angles, flexionRad: slap },
      },
      { atS: topS + 0.6, at: [0.5 * this.#full, -0.1 * this.#side, -0.4 * this.#full], angles: palmDown },
    ]);
    return this.#score(keys, { jump: { offS, upMps } });
  }

  /** Two running steps, one hand lays the ball up softly at the top of a one-legged jump. */
  layup(): Scored {
    const offS = this.#random.between(1.9, 2.4);
    const upMps = this.#random.between(1.6, 2.8);
    const leaveS = offS + (this.#random.between(0.7, 1) * upMps) / standardGravityMps2;
    const underhand = this.#random.chance(0.5);
    const full = this.#full;
    const high: Vec3 = [this.#random.between(0.25, 0.5) * full, 0.05 * this.#side, 0.82 * full];
    const hold: Vec3 = [0.5 * full, 0.12 * this.#side, -0.4 * full];
    const hip: Vec3 = [0.3 * full, -0.1 * this.#side, -0.55 * full];
    const carried: HandAngles = { pronationRad: 0.4, flexionRad: -0.4, deviationRad: 0 };
    const lifted: HandAngles = underhand
      ? { pronationRad: -0.9, flexionRad: -0.2, deviationRad: 0 }
      : { pronationRad: 1.1, flexionRad: -0.9, deviationRad: 0 };
    const soft = this.#random.between(0.2, 0.7);
    const pulses: Pulse[] = [];
    for (const before of [1.15, 0.75, 0.36]) {
      const size = this.#random.between(8, 22);
      pulses.push({ atS: this.#startS + offS - before, durationS: 0.045, peakMps2: [0, 0, size] });
    }
    const keys = this.#keys([
      { atS: offS - 1, at: hold, angles: carried },
      { atS: offS - 0.5, at: hip, angles: carried },
      { atS: offS - 0.12, at: [0.6 * full, 0, -0.1 * full], rate: [0.3, 0, 2.4], angles: lifted },
      { atS: leaveS, at: high, rate: [0.4, 0, 0.8], angles: { ...lifted, flexionRad: lifted.flexionRad + 0.4 * soft } },
      {
        atS: leaveS + 0.14,
        at: add(high, [0.06, 0, 0.03]),
        angles: { ...lifted, flexionRad: lifted.flexionRad + soft },
      },
      { atS: leaveS + 0.8, at: [0.5 * full, -0.1 * this.#side, -0.5 * full], angles: palmIn },
    ]);
    const grip = new ScalarTrack([
      { atS: this.#startS + offS - 1.1, value: 0 },
      { atS: this.#startS + offS - 1, value: 1 },
      { atS: this.#startS + leaveS - 0.1, value: 1 },
      { atS: this.#startS + leaveS - 0.03, value: 1.5 },
      { atS: this.#startS + leaveS, value: 0 },
    ]);
    return this.#score(keys, {
      pulses,
      jump: { offS, upMps },
      unseenBall: (t) => [2 * grip.at(t), 0, standardGravityMps2 * grip.at(t)],
      bob: (t) => {
        const s = t - this.#startS;
        return s < offS - 0.36 && s > 0.4
          ? 0.03 *
              Math.sin(2 * Math.PI * 2.6 * (s - 0.4)) *
              Math.min(1, (s - 0.4) / 0.3) *
              Math.min(1, (offS - 0.36 - s) / 0.2)
          : 0;
      },
    });
  }

  /** A jump, both hands take the ball at the top and pull it down. */
  rebound(): Scored {
    const offS = this.#random.between(0.9, 1.3);
    const upMps = this.#random.between(1.4, 2.6);
    const topS = offS + (this.#random.between(0.85, 1.15) * upMps) / standardGravityMps2;
    const full = this.#full;
    const high: Vec3 = [0.3 * full, 0.06 * this.#side, 0.85 * full];
    const chest: Vec3 = [0.45 * full, 0.1 * this.#side, -0.15 * full];
    const wide: HandAngles = { pronationRad: 0.9, flexionRad: -0.5, deviationRad: 0 };
    const hit = this.#random.between(25, 80);
    const keys = this.#keys([
      { atS: offS - 0.3, at: [0.3 * full, 0, -0.6 * full], angles: palmIn },
      { atS: offS, at: [0.6 * full, 0, 0.2 * full], rate: [0, 0, 2.5], angles: wide },
      { atS: topS, at: high, angles: wide },
      { atS: topS + 0.06, at: add(high, [-0.02, 0, -0.05]), rate: [0, 0, -1.5], angles: { ...wide, flexionRad: -0.7 } },
      { atS: topS + this.#random.between(0.25, 0.4), at: chest, angles: { ...wide, pronationRad: 0.3 } },
      { atS: topS + 1, at: add(chest, [0, 0, -0.1]), angles: palmIn },
    ]);
    return this.#score(keys, {
      jump: { offS, upMps },
      pulses: [
        {
          atS: this.#startS + topS,
          durationS: 0.02,
          peakMps2: [-0.4 * hit, this.#random.normal(0, 0.2) * hit, -hit],
        },
      ],
    });
  }

  /** Both hands behind or over the head throw the ball forward with a snap. */
  overheadPass(): Scored {
    const leaveS = this.#random.between(1.5, 1.9);
    const full = this.#full;
    const windS = this.#random.between(0.18, 0.3);
    const over: Vec3 = [this.#random.between(-0.05, 0.2) * full, 0.1 * this.#side, 0.6 * full];
    const speed = this.#random.between(2.5, 4.5);
    const leave: Vec3 = [0.72 * full, 0.08 * this.#side, 0.5 * full];
    const cocked: HandAngles = { pronationRad: 0.9, flexionRad: -1, deviationRad: 0 };
    const snap = this.#random.between(0.5, 1.3);
    const keys = this.#keys([
      { atS: 0.7, at: [0.5 * full, 0.12 * this.#side, -0.2 * full], angles: palmIn },
      { atS: leaveS - windS, at: over, angles: cocked },
      { atS: leaveS, at: leave, rate: [speed, 0, -0.25 * speed], angles: { ...cocked, flexionRad: -1 + 0.55 * snap } },
      {
        atS: leaveS + 0.16,
        at: [0.93 * full, 0.05 * this.#side, 0.2 * full],
        angles: { ...cocked, flexionRad: -1 + 1.1 * snap },
      },
      {
        atS: leaveS + 0.16 + this.#random.between(0.05, 0.5),
        at: [0.93 * full, 0.05 * this.#side, 0.15 * full],
        angles: { ...cocked, flexionRad: -1 + 1.1 * snap },
      },
      { atS: leaveS + 1.2, at: [0.4 * full, -0.1 * this.#side, -0.7 * full], angles: palmIn },
    ]);
    const push = this.#random.between(20, 40);
    const grip = new ScalarTrack([
      { atS: this.#startS + 0.5, value: 0 },
      { atS: this.#startS + 0.7, value: 0.1 },
      { atS: this.#startS + leaveS - windS, value: 0.1 },
      { atS: this.#startS + leaveS - 0.04, value: 1 },
      { atS: this.#startS + leaveS, value: 0 },
    ]);
    return this.#score(keys, { unseenBall: (t) => [0.5 * push * grip.at(t), 0, 0.2 * push * grip.at(t)] });
  }

  get #lengthS(): number {
    return this.#endS - this.#startS;
  }

  /** From nothing to one and back within the act. */
  #window(inS: number, outS: number): ScalarTrack {
    return new ScalarTrack([
      { atS: this.#startS + 0.15, value: 0 },
      { atS: this.#startS + inS + 0.2, value: 1 },
      { atS: this.#endS - outS - 0.2, value: 1 },
      { atS: this.#endS - 0.25, value: 0 },
    ]);
  }

  /** Adds where the arm comes from and where it goes; times of the keys are since the act began. */
  #keys(keys: readonly Key[]): Key[] {
    const rest = hanging(this.#player);
    const kept: Key[] = [];
    for (const key of keys) {
      const before = kept[kept.length - 1];
      const atS = this.#startS + key.atS;
      if (atS < (before?.atS ?? this.#startS) + 0.03 || atS > this.#endS - 0.35) continue;
      kept.push({ ...key, atS });
    }
    const { from } = this.#context;
    return [
      { atS: this.#startS, at: from.relativeM, angles: from.angles, swivelRad: from.swivelRad },
      ...kept,
      { atS: this.#endS - 0.1, at: rest.relativeM, angles: rest.angles, swivelRad: rest.swivelRad },
    ];
  }

  #score(
    keys: readonly Key[],
    more: {
      readonly pulses?: readonly Pulse[];
      readonly extra?: (t: number) => Vec3;
      readonly extraAngles?: (t: number) => HandAngles;
      readonly path?: (t: number) => Vec3;
      readonly bob?: (t: number) => number;
      readonly jump?: { readonly offS: number; readonly upMps: number };
      readonly unseenBall?: (t: number) => Vec3;
    },
  ): Scored {
    const turnRad = this.#random.normal(0, 0.5);
    const yaw = new ScalarTrack([
      { atS: this.#startS + 0.2, value: 0 },
      { atS: this.#endS - 0.2, value: turnRad },
    ]);
    const height = this.#heightTrack(more.jump);
    const bob = more.bob ?? (() => 0);
    const trunk = (t: number): Vec3 => [0, 0, height.at(t) + bob(t)];
    const path = new WristPath(
      (t) => shoulderAt(this.#player, trunk(t), yaw.at(t)),
      (t) => yaw.at(t),
    );
    const track = new VectorTrack(
      keys.map(({ atS, at, rate }): VectorKnot => ({ atS, value: at, rate: rate ?? zero3 })),
    );
    const extra = more.extra ?? (() => zero3);
    path.relative(this.#startS, more.path ?? ((t) => add(track.at(t), extra(t))));
    const tracks = new AngleTracks(
      keys.map(({ atS, angles, swivelRad }) => ({ atS, angles, swivelRad: swivelRad ?? 0.2 })),
    );
    const extraAngles = more.extraAngles;
    const landing = more.jump ? this.#landing(more.jump) : [];
    return {
      score: {
        startS: this.#startS,
        endS: this.#endS,
        trunk,
        yaw: (t) => yaw.at(t),
        wrist: (t) => path.at(t),
        swivel: (t) => tracks.swivel(t),
        angles: (t) => {
          const base = tracks.angles(t);
          if (!extraAngles) return base;
          const off = extraAngles(t);
          return {
            pronationRad: base.pronationRad + off.pronationRad,
            flexionRad: base.flexionRad + off.flexionRad,
            deviationRad: base.deviationRad + off.deviationRad,
          };
        },
        contacts: [],
        ...(more.unseenBall ? { unseenBall: more.unseenBall } : {}),
        pulses: [...(more.pulses ?? []), ...landing],
      },
      end: hanging(this.#player),
    };
  }

  #heightTrack(jump: { readonly offS: number; readonly upMps: number } | undefined): ScalarTrack {
    const standM = this.#player.shoulderM;
    if (!jump) return new ScalarTrack([{ atS: this.#startS, value: standM }]);
    const g = this.#context.world.gravityMps2;
    const offS = this.#startS + jump.offS;
    const crouchM = 0.1 * this.#player.statureM;
    const toeM = 0.035 * this.#player.statureM;
    const pushS = Math.min(0.45, Math.max(0.16, (1.9 * (crouchM + toeM)) / jump.upMps));
    const landS = offS + (2 * jump.upMps) / g;
    const knots: Knot[] = [
      { atS: this.#startS, value: standM },
      { atS: offS - pushS - 0.3, value: standM },
      { atS: offS - pushS, value: standM - crouchM },
      { atS: offS, value: standM + toeM, rate: jump.upMps, bend: -g },
      { atS: landS, value: standM + toeM, rate: -jump.upMps, bend: -g },
      { atS: landS + 0.2, value: standM + toeM - 0.09 * jump.upMps, bend: 3 },
      { atS: landS + 0.75, value: standM },
    ];
    return new ScalarTrack(knots);
  }

  #landing(jump: { readonly offS: number; readonly upMps: number }): Pulse[] {
    const atS = this.#startS + jump.offS + (2 * jump.upMps) / this.#context.world.gravityMps2;
    return [{ atS, durationS: 0.035, peakMps2: [0, 0, this.#random.between(12, 30) * jump.upMps] }];
  }
}
