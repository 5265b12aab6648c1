import { ActBuilder, type HandTraits, softHands, usualHands } from './act-builder.ts';
import { decoyAct } from './acts/decoy-acts.ts';
import { shotAct } from './acts/shot-act.ts';
import { type Air, type BallBody, ballBodies, drawAir } from './ball-body.ts';
import { type MotionSegment, newState, setVector, stateLayout } from './ball-state.ts';
import { usualFloor } from './court.ts';
import type { BallWorld } from './free-motion.ts';
import { Motion } from './motion.ts';
import type { ActPlan } from './practice-plan.ts';
import type { Random } from './random.ts';
import { measureShotTruth, type RawShotTruth } from './shot-truth.ts';
import type { PhysicsSwitches } from './switches.ts';

/** One act as played: its motion and what truly happened, times in session seconds. */
export interface PlayedAct {
  readonly plan: ActPlan;
  readonly startS: number;
  readonly endS: number;
  readonly segments: readonly MotionSegment[];
  /** Ball, air and, after a shot, the hoop. */
  readonly world: BallWorld;
  readonly shot: RawShotTruth | null;
}

export interface PlayOptions {
  readonly ballSize: 7 | 6 | 5;
  readonly gravityMps2: number;
  readonly switches: PhysicsSwitches;
  /** Replaces the air that would be drawn for the session. */
  readonly air?: Partial<Air>;
}

/** Plays the acts one after the other, lazily; the motion never breaks. */
export function* playActs(acts: Iterable<ActPlan>, random: Random, options: PlayOptions): Generator<PlayedAct> {
  const world = sessionWorld(random.fork('world'), options);
  const hands: HandTraits = options.switches.softHands ? softHands : usualHands;
  let state = newState();
  setVector(state, stateLayout.position, [0, 0, 1]);
  setVector(state, stateLayout.attitude, random.fork('attitude').rotation());
  let timeS = 0;
  let handStartS = Number.NEGATIVE_INFINITY;
  let index = 0;
  for (const plan of acts) {
    const builder = new ActBuilder(world, hands, random.fork(`act ${index}`), state, timeS, handStartS);
    builder.reframe();
    playOne(builder, plan);
    const segments = builder.segments;
    const mark = builder.flights[builder.flights.length - 1];
    const shot = plan.kind === 'shot' && mark ? measureShotTruth(new Motion(segments, mark.world), mark, plan) : null;
    yield { plan, startS: timeS, endS: builder.timeS, segments, world: builder.world, shot };
    state = builder.state;
    timeS = builder.timeS;
    handStartS = builder.handStartS;
    index++;
  }
}

function playOne(builder: ActBuilder, plan: ActPlan): void {
  if (plan.kind === 'shot') shotAct(builder, plan);
  else if (plan.kind === 'idle') builder.holdStill(plan.durationS);
  else decoyAct(builder, plan.kind, plan.size);
}

/** Ball, air and floor of one session. */
export function sessionWorld(random: Random, options: PlayOptions): BallWorld {
  const { switches } = options;
  const air: Air = {
    ...drawAir(random.fork('air')),
    variableDrag: switches.variableDrag,
    buoyancy: switches.buoyancy,
    ...options.air,
  };
  const floor = { ...usualFloor, restitution: random.between(0.73, 0.8), contactS: random.between(0.012, 0.018) };
  return {
    ball: sessionBall(random.fork('ball'), options),
    air,
    court: { floor, hoop: null },
    gravityMps2: options.gravityMps2,
  };
}

function sessionBall(random: Random, options: PlayOptions): BallBody {
  const body = ballBodies[options.ballSize];
  if (!options.switches.unequalInertia) return body;
  const axis = () => 1 + random.between(-0.03, 0.03);
  return { ...body, inertiaRatio: [axis(), axis(), axis()] };
}
