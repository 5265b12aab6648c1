import type { MotionSegment } from '../ball-state.ts';
import { Motion } from '../motion.ts';
import { type PlayedAct, type PlayOptions, playActs } from '../play-acts.ts';
import type { ActPlan } from '../practice-plan.ts';
import { Random } from '../random.ts';
import { type ArmTrace, SensorRide, type Sway, traceScore } from './arm-motion.ts';
import type { ArmPlayer, MountPlace } from './arm-player.ts';
import { type ActContext, type ArmRest, type ArmScore, hanging } from './arm-score.ts';
import { armStepS, giveToBall } from './ball-hand.ts';
import { holdingRest, scoreBallPlay, scoreRest } from './ball-play-score.ts';
import { moveDurationS, scoreMove } from './move-score.ts';
import { Oscillator } from './reaction.ts';
import { type ShotScore, scoreShot } from './shot-score.ts';
import { scoreShow, showDurationS } from './show-score.ts';
import type { WristActPlan, WristPracticePlan } from './wrist-plan.ts';

/** One act of ball and arm together; times in session seconds. */
export interface PlayedArmAct {
  readonly plan: WristActPlan;
  readonly ball: PlayedAct;
  readonly startS: number;
  readonly endS: number;
  /** Motion of the sensor, in one room through the practice; it ends two steps early. */
  readonly sensorSegments: readonly MotionSegment[];
  readonly trace: ArmTrace;
  readonly shot: ShotScore | null;
  readonly mount: MountPlace;
  /** Length of the hand, m. */
  readonly handM: number;
}

/** Plays the acts one after the other, ball and arm, lazily; neither motion ever breaks. */
export function* playArm(
  plan: WristPracticePlan,
  seed: string | number,
  options: PlayOptions,
): Generator<PlayedArmAct> {
  const random = new Random(seed);
  const { player } = plan;
  const queue: { act: WristActPlan; takes: boolean }[] = [];
  function* ballPlans(): Generator<ActPlan> {
    let i = 0;
    for (const act of plan.acts) {
      const own = random.fork(act.kind === 'show' ? 'pace show' : `pace ${i++}`);
      if (needsBall(act)) {
        const idle = { kind: 'idle', durationS: own.between(1.1, 1.8) } as const;
        queue.push({ act: idle, takes: true });
        yield idle;
      }
      queue.push({ act, takes: false });
      if (act.kind === 'shot') yield act.ball;
      else if (act.kind === 'ball-play') yield act.ball;
      else yield { kind: 'idle', durationS: durationS(act, own) };
    }
  }
  const acts = playActs(ballPlans(), random.fork('play'), options);
  const ride = new SensorRide(player);
  const shaken = new Oscillator(9, 0.35, armStepS);
  const sway = drawSway(random.fork('sway'), player);
  let rest = hanging(player);
  let index = 0;
  for (const ball of acts) {
    const { act, takes } = queue.shift() as { act: WristActPlan; takes: boolean };
    const context: ActContext = {
      player,
      random: random.fork(act.kind === 'show' ? 'arm show' : `arm ${index++}`),
      startS: ball.startS,
      endS: ball.endS,
      from: rest,
      ball: new Motion(ball.segments, ball.world),
      world: ball.world,
    };
    const { score, end, shot } = scoreAct(context, act, ball, takes);
    rest = end;
    const give = shot?.score.give ?? giveToBall(context, score.contacts, score.unseenBall);
    const trace = traceScore(player, score, give, shaken, sway);
    const segment = ride.ride(trace);
    yield {
      plan: act,
      ball,
      startS: ball.startS,
      endS: ball.endS,
      sensorSegments: segment ? [segment] : [],
      trace,
      shot,
      mount: player.mount.place,
      handM: player.arm.handM,
    };
  }
}

/** Length of an act that no ball takes part in. */
function durationS(act: Exclude<WristActPlan, { kind: 'shot' | 'ball-play' }>, random: Random): number {
  if (act.kind === 'idle') return act.durationS;
  return act.kind === 'show' ? showDurationS(act) : moveDurationS(act, random);
}

/** Acts that begin with the ball in the wearer's hands. */
function needsBall(act: WristActPlan): boolean {
  if (act.kind === 'shot') return !['chest-pass', 'bounce-pass', 'lob-pass'].includes(act.ball.start.kind);
  return act.kind === 'ball-play' && act.role === 'throws';
}

function scoreAct(
  context: ActContext,
  act: WristActPlan,
  ball: PlayedAct,
  takes: boolean,
): { score: ArmScore; end: ArmRest; shot: ShotScore | null } {
  switch (act.kind) {
    case 'shot': {
      if (!ball.shot) throw new RangeError('a shot was planned but the ball was not shot');
      const shot = scoreShot(context, act, ball.shot);
      return { score: shot.score, end: shot.end, shot };
    }
    case 'ball-play':
      return { ...scoreBallPlay(context, act), shot: null };
    case 'move':
      return { ...scoreMove(context, act), shot: null };
    case 'show':
      return { ...scoreShow(context, act), shot: null };
    case 'idle':
      return { ...scoreRest(context, takes ? holdingRest(context) : context.from), shot: null };
  }
}

/** Sums of slow sines with phases of the player's own: sway below 2 Hz, tremor near 9 Hz. */
function drawSway(random: Random, player: ArmPlayer): Sway {
  const size = random.between(0.5, 1.5);
  const channels = [0.0025, 0.0025, 0.002, 0.012, 0.012].map((amplitude) =>
    [0.23, 0.41, 0.83, 1.6, 9].map((hz, i) => ({
      w: 2 * Math.PI * hz * random.between(0.85, 1.15),
      phase: random.between(0, 2 * Math.PI),
      a: size * amplitude * (i === 4 ? 0.04 : 0.5 / (1 + hz)) * (player.statureM / 1.8),
    })),
  );
  return (timeS) => {
    // A practice begins at rest.
    const risen = Math.min(1, timeS);
    const share = risen * risen * risen * (10 - 15 * risen + 6 * risen * risen);
    const sum = (k: number) => {
      let total = 0;
      for (const { w, phase, a } of channels[k] as { w: number; phase: number; a: number }[])
        total += a * Math.sin(w * timeS + phase);
      return share * total;
    };
    return [sum(0), sum(1), sum(2), sum(3), sum(4)];
  };
}
