/**
 * Small named practices with a sensor on the wrist, and with one in the ball besides. `recordings-synthetic/` holds them as
 * files.
 */
import type { DecoyPlan, ShotPlan, StartPlan } from '../practice-plan.ts';
import { Random } from '../random.ts';
import { drawSensor, type SensorDraw } from '../sensor-model.ts';
import { drawArmPlayer, type PlayerDraw } from './arm-player.ts';
import {
  ballSizeFor,
  drawArmShow,
  drawWristDecoy,
  drawWristPlan,
  drawWristShot,
  type FixedWristShot,
  pairedDecoyKinds,
  type WristActPlan,
  type WristDecoyKind,
} from './wrist-plan.ts';
import type { PairedPracticeOptions, WristEventLoss, WristPracticeOptions } from './wrist-practice.ts';
import { drawWristSensor, wristRanges } from './wrist-sensor.ts';

export interface WristScenario {
  readonly name: string;
  /** What happens, in a sentence. */
  readonly about: string;
  readonly sensors: 'wrist' | 'ball and wrist';
  readonly player?: Partial<PlayerDraw>;
  /** Begins with the wearer showing the arm. */
  readonly shows?: boolean;
  readonly shots: readonly FixedWristShot[];
  readonly decoys?: readonly WristDecoyKind[];
  /** A drawn mixture instead of shots and decoys in order. */
  readonly mixture?: { readonly shots: number; readonly decoys: number };
  readonly sensor?: Partial<SensorDraw>;
  readonly hasGyro?: boolean;
  readonly wobbleFactor?: number;
  readonly losses?: readonly WristEventLoss[];
}

const routine: StartPlan = { kind: 'routine', dribbles: 2, stillS: 0.9 };
const pullUp: StartPlan = { kind: 'dribble', dribbles: 3, heightM: 0.9, crossover: false, walkMps: 2 };
const pass = (kind: 'chest-pass' | 'bounce-pass'): StartPlan => ({ kind, distanceM: 5 });
const shot = (start: StartPlan, ball: Partial<ShotPlan> = {}, arm: FixedWristShot['arm'] = {}): FixedWristShot => ({
  ball: { start, afterPlayS: 1, ...ball },
  arm,
});
const grown: Partial<PlayerDraw> = { statureM: [1.8, 1.95] };

export const wristScenarios: readonly WristScenario[] = [
  {
    name: 'wrist-free-throw',
    about: 'two free throws after a routine; the sensor above the right wrist',
    sensors: 'wrist',
    player: { ...grown, side: 1, place: 'wrist-forearm', jumpMps: 0 },
    shots: [shot(routine, { distanceM: 4.225 }), shot(routine, { distanceM: 4.225 })],
  },
  {
    name: 'wrist-pull-up',
    about: 'jump shots off the dribble; the sensor on the back of the right hand',
    sensors: 'wrist',
    player: { ...grown, side: 1, place: 'back-of-hand', jumpMps: 1.8 },
    shots: [shot(pullUp), shot({ ...pullUp, dribbles: 2 })],
  },
  {
    name: 'wrist-catch-and-shoot',
    about: 'shots off a chest pass, a bounce pass and an own spin-out; the sensor on the back of the right hand',
    sensors: 'wrist',
    player: { ...grown, side: 1, place: 'back-of-hand', jumpMps: 1.4 },
    shots: [shot(pass('chest-pass')), shot(pass('bounce-pass')), shot({ kind: 'spin-out' })],
  },
  {
    name: 'wrist-left-hand',
    about: 'a left-hander; the sensor above the left wrist',
    sensors: 'wrist',
    player: { ...grown, side: -1, place: 'wrist-forearm', jumpMps: 1.5 },
    shots: [shot(pullUp), shot(pass('chest-pass'))],
  },
  {
    name: 'wrist-set-point',
    about: 'two-motion shots with the ball held at the set point for a third of a second',
    sensors: 'wrist',
    player: { ...grown, motion: 'two', place: 'back-of-hand' },
    shots: [shot(pass('chest-pass'), { highPauseS: 0.32 }), shot(routine, { highPauseS: 0.35 })],
  },
  {
    name: 'wrist-turn-in-air',
    about: 'the body turns in the air by some 20°, to the left and then to the right',
    sensors: 'wrist',
    player: { ...grown, place: 'wrist-forearm', jumpMps: 2.3 },
    shots: [
      shot(pullUp, {}, { turnRad: 0.4, releaseShare: 0.7 }),
      shot(pullUp, {}, { turnRad: -0.4, releaseShare: 0.7 }),
    ],
  },
  {
    name: 'wrist-child',
    about: 'a child of 1.35 m with a size 5 ball and a hoop of 2.6 m',
    sensors: 'wrist',
    player: { statureM: [1.35, 1.35] },
    shots: [shot(routine), shot({ ...pullUp, heightM: 0.7, walkMps: 1 })],
  },
  {
    name: 'wrist-accel-only',
    about: 'a sensor without gyroscope at 50 Hz',
    sensors: 'wrist',
    player: { ...grown, place: 'wrist-forearm' },
    shots: [shot(pullUp), shot(routine)],
    sensor: { rateHz: 50 },
    hasGyro: false,
  },
  {
    name: 'wrist-loose-strap',
    about: 'a loose strap and ranges of ±8 g and ±1000 °/s, which the snap exceeds',
    sensors: 'wrist',
    player: { ...grown, place: 'back-of-hand', spinRps: [2.4, 2.6], spinGain: 0.65 },
    shots: [shot(pullUp), shot(pass('chest-pass'))],
    sensor: wristRanges(8, 1000),
    wobbleFactor: 2,
  },
  {
    name: 'wrist-gap-at-release',
    about: 'packets are lost at the release of the first shot and at the pickup of the second',
    sensors: 'wrist',
    player: { ...grown, place: 'back-of-hand' },
    shots: [shot(pullUp), shot(pass('chest-pass'))],
    losses: [
      { shot: 0, event: 'release', beforeS: 0.02, afterS: 0.02 },
      { shot: 1, event: 'pickup', beforeS: 0.02, afterS: 0.02 },
    ],
  },
  {
    name: 'wrist-arm-shown',
    about: 'the arm hangs and the forearm is turned to and fro, then two shots; the sensor above the right wrist',
    sensors: 'wrist',
    player: { ...grown, side: 1, place: 'wrist-forearm', jumpMps: 1.6 },
    shows: true,
    shots: [shot(pullUp), shot(routine)],
  },
  {
    name: 'wrist-everyday',
    about: 'walking, running, clapping, waving, drinking and gestures; no shot',
    sensors: 'wrist',
    shots: [],
    decoys: ['walk', 'run', 'clap', 'wave', 'drink', 'gesture'],
  },
  {
    name: 'wrist-ball-handling',
    about: 'dribbling, passes thrown and caught, a pump fake, a layup, a rebound and an overhead pass; no shot',
    sensors: 'wrist',
    shots: [],
    decoys: ['dribbling', 'chest-pass', 'catch', 'pump-fake', 'layup', 'rebound', 'overhead-pass', 'jump-reach'],
  },
  {
    name: 'wrist-practice',
    about: 'a mixture of six shots and six other acts, drawn from the seed',
    sensors: 'wrist',
    shots: [],
    mixture: { shots: 6, decoys: 6 },
  },
  {
    name: 'pair-free-throw',
    about: 'two free throws seen by a sensor in the ball and one on the back of the hand',
    sensors: 'ball and wrist',
    player: { ...grown, place: 'back-of-hand', jumpMps: 0 },
    shots: [shot(routine, { distanceM: 4.225 }), shot(routine, { distanceM: 4.225 })],
  },
  {
    name: 'pair-lossy-link',
    about: 'jump shots seen by both sensors, of which each loses a tenth of its packets',
    sensors: 'ball and wrist',
    player: { ...grown, place: 'wrist-forearm', jumpMps: 1.6 },
    shots: [shot(pullUp), shot(pass('bounce-pass'))],
    sensor: { lossShare: 0.1 },
  },
  {
    name: 'pair-practice',
    about: 'a mixture of four shots and two other acts seen by both sensors, drawn from the seed',
    sensors: 'ball and wrist',
    player: { place: 'back-of-hand' },
    shots: [],
    mixture: { shots: 4, decoys: 2 },
  },
];

export function wristScenarioNames(): readonly string[] {
  return wristScenarios.map(({ name }) => name);
}

/**
 * Options to play a scenario with a wrist sensor; those of `ball and wrist` go into `simulatePairedPractice` too.
 *
 * @param seed another one gives another player and sensor doing the same; the default is that of the files.
 * @throws RangeError for a name that is none.
 */
export function wristScenarioPractice(
  name: string,
  seed: string | number = 1,
): (WristPracticeOptions & PairedPracticeOptions) & { readonly scenario: WristScenario } {
  const scenario = wristScenarios.find((candidate) => candidate.name === name);
  if (!scenario) {
    throw new RangeError(
      `no scenario is called ${JSON.stringify(name)}: expected one of ${wristScenarioNames().join(', ')}`,
    );
  }
  const own = `${name}//${seed}`;
  const paired = scenario.sensors === 'ball and wrist';
  const plan = scenario.mixture
    ? drawWristPlan(own, {
        ...scenario.mixture,
        player: scenario.player ?? {},
        ...(paired ? { decoyKinds: pairedDecoyKinds } : {}),
      })
    : orderedPlan(scenario, own);
  return {
    scenario,
    seed: own,
    plan,
    sensor: drawWristSensor(own, plan.player.mount, scenario.sensor ?? {}),
    ballSensor: drawSensor(own, scenario.sensor ?? {}),
    hasGyro: scenario.hasGyro ?? true,
    wobbleFactor: scenario.wobbleFactor ?? 1,
    eventLosses: scenario.losses ?? [],
  };
}

function orderedPlan(scenario: WristScenario, own: string) {
  const random = new Random(own);
  const player = drawArmPlayer(own, scenario.player ?? {});
  const acts: WristActPlan[] = [scenario.shows ? drawArmShow(random.fork('show')) : { kind: 'idle', durationS: 1.5 }];
  scenario.shots.forEach((fixed, i) => {
    acts.push(drawWristShot(random.fork(`shot ${i}`), player, fixed));
  });
  scenario.decoys?.forEach((kind, i) => {
    acts.push(middling(drawWristDecoy(random.fork(`decoy ${i}`), [kind]), random.fork(`size ${i}`)));
  });
  acts.push({ kind: 'idle', durationS: 1 });
  return { player, ballSize: ballSizeFor(player.statureM), acts };
}

/** Acts of no extreme size. */
function middling(act: WristActPlan, random: Random): WristActPlan {
  const size = random.between(0.2, 0.8);
  if (act.kind === 'move') return { ...act, size };
  if (act.kind !== 'ball-play') return act;
  const ball: DecoyPlan = { ...act.ball, size };
  return { ...act, ball };
}
