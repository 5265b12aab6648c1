/**
 * Small named practices, each with one thing to look at. `recordings-synthetic/` holds them as files.
 *
 *     const options = scenarioPractice('bank-shot');      // for simulatePractice, streamPractice or encodePractice
 */

import { attitudeOf, newState, stateLayout, vectorAt } from './ball-state.ts';
import { drawDecoyPlan, drawPracticePlan, drawShotPlan, usualPractice } from './draw-plan.ts';
import { Motion } from './motion.ts';
import { type EventLoss, type PracticeOptions, practiceActs } from './practice.ts';
import type { ActPlan, DecoyKind, ShotPlan, StartPlan } from './practice-plan.ts';
import { Random } from './random.ts';
import { drawSensor, type SensorDraw, type SensorModel } from './sensor-model.ts';
import { type SwitchName, switchesOn, switchNames } from './switches.ts';
import { cross, type Quat, quatFromRotationVector, rotateBack, scale, unitOr, type Vec3 } from './vectors.ts';

export interface Scenario {
  readonly name: string;
  /** What happens, in a sentence. */
  readonly about: string;
  readonly shots: readonly Partial<ShotPlan>[];
  readonly decoys?: readonly DecoyKind[];
  readonly sensor?: Partial<SensorDraw>;
  /** The sensor is turned so that its z axis lies this far from the spin axis of the first shot's flight. */
  readonly spinAxisOffDeg?: number;
  readonly switches?: readonly SwitchName[];
  readonly losses?: readonly EventLoss[];
  readonly ballSize?: 7 | 6 | 5;
}

const routine: StartPlan = { kind: 'routine', dribbles: 2, stillS: 0.9 };
const pullUp: StartPlan = { kind: 'dribble', dribbles: 3, heightM: 0.9, crossover: false, walkMps: 2 };
const chestPass: StartPlan = { kind: 'chest-pass', distanceM: 5 };
const freeThrow: Partial<ShotPlan> = {
  start: routine,
  distanceM: 4.225,
  aim: 'through',
  depthErrorM: 0,
  sideErrorM: 0,
  afterPlayS: 1,
};
const dribbleShot: Partial<ShotPlan> = { start: pullUp, distanceM: 5.5, aim: 'through', afterPlayS: 1 };
const catchShot: Partial<ShotPlan> = {
  start: chestPass,
  distanceM: 6.4,
  aim: 'through',
  depthErrorM: 0,
  sideErrorM: 0,
  afterPlayS: 1,
};

export const scenarios: readonly Scenario[] = [
  {
    name: 'free-throw-swish',
    about: 'two free throws after a routine, through the net without the ring',
    shots: [freeThrow, freeThrow],
  },
  {
    name: 'pull-up-ring-miss',
    about: 'shots off the dribble: one short and one long, both off the ring',
    shots: [
      { ...dribbleShot, aim: 'front', depthErrorM: 0 },
      { ...dribbleShot, aim: 'back', depthErrorM: 0, start: { ...pullUp, crossover: true } },
    ],
  },
  {
    name: 'catch-and-shoot-net',
    about: 'shots off a chest pass, a bounce pass and an own spin-out, through the net',
    shots: [
      catchShot,
      { ...catchShot, start: { kind: 'bounce-pass', distanceM: 5 } },
      { ...catchShot, start: { kind: 'spin-out' } },
    ],
  },
  {
    name: 'air-ball',
    about: 'a ball falling short of everything and one beside everything; both are shots',
    shots: [
      { ...dribbleShot, aim: 'short-air', depthErrorM: -0.15 },
      { ...catchShot, aim: 'wide-air', boardAngleDeg: 80 },
    ],
  },
  {
    name: 'bank-shot',
    about: 'shots off the board, from the side',
    shots: [
      { ...dribbleShot, aim: 'board', distanceM: 3.6, boardAngleDeg: 40, launchAngleDeg: 55 },
      { ...catchShot, aim: 'board', distanceM: 4.5, boardAngleDeg: -30, launchAngleDeg: 54 },
    ],
  },
  {
    name: 'net-before-ring',
    about: 'a ball so short that it meets the net from outside before anything else',
    shots: [{ ...dribbleShot, distanceM: 6.2, aim: 'short-air', depthErrorM: 0.2, launchAngleDeg: 48 }],
  },
  {
    name: 'passes-and-tosses',
    about: 'chest, bounce and lob passes, tosses and a ball thrown up; no shot',
    shots: [],
    decoys: ['chest-pass', 'bounce-pass', 'lob-pass', 'self-toss', 'thrown-up', 'hand-to-hand'],
  },
  {
    name: 'ball-handling',
    about: 'dribbling, carrying, a fake, a roll, a dropped and a slammed ball; no shot',
    shots: [],
    decoys: ['dribbling', 'carry', 'pump-fake', 'drop', 'slam', 'roll'],
  },
  {
    name: 'high-set-point',
    about: 'two-motion shots with the ball held at the set point for a third of a second',
    shots: [
      { ...catchShot, motion: 'two', highPauseS: 0.3, lowPauseS: 0 },
      { ...freeThrow, motion: 'two', highPauseS: 0.35, lowPauseS: 0 },
    ],
  },
  {
    name: 'nutating-ball',
    about: 'the ball is unbalanced by a few per cent',
    shots: [dribbleShot, catchShot],
    switches: ['unequalInertia'],
  },
  {
    name: 'wall-mounted',
    about: 'the sensor sits at the wall, 0.11 m from the centre',
    shots: [freeThrow, catchShot],
    sensor: { offsetM: [0.11, 0.11] },
  },
  {
    name: 'fast-spin-clipped',
    about: 'six revolutions a second, beyond the range of a gyroscope axis near the spin axis',
    shots: [
      { ...freeThrow, spinRps: 6, axisTiltDeg: 3, rifleDeg: 0 },
      { ...catchShot, spinRps: 6, axisTiltDeg: -4, rifleDeg: 0 },
    ],
    spinAxisOffDeg: 8,
  },
  {
    name: 'lossy-link',
    about: 'a tenth of the packets are lost',
    shots: [dribbleShot, catchShot],
    sensor: { lossShare: 0.1 },
  },
  {
    name: 'slow-filter',
    about: 'the sensor filters at 20 Hz: its stamps are 11 ms late and edges are blunt',
    shots: [dribbleShot, freeThrow],
    sensor: { filterCutoffShare: 0.1 },
  },
  {
    name: 'slow-spin',
    about: 'hardly any spin: 0.3 revolutions a second',
    shots: [
      { ...freeThrow, spinRps: 0.3 },
      { ...catchShot, spinRps: 0.3 },
    ],
  },
  {
    name: 'rifle-spin',
    about: 'the spin axis points largely along the flight',
    shots: [
      { ...freeThrow, spinRps: 1.8, rifleDeg: 65 },
      { ...catchShot, spinRps: 2, rifleDeg: -60 },
    ],
  },
  {
    name: 'close-range',
    about: 'shots from 2.1 m, with short flights',
    shots: [
      { ...dribbleShot, distanceM: 2.1, launchAngleDeg: 58, boardAngleDeg: 0 },
      { ...freeThrow, distanceM: 2.1, launchAngleDeg: 60, boardAngleDeg: 0 },
    ],
  },
  {
    name: 'gap-at-release',
    about: 'packets are lost at the release of the first shot and at the pickup of the second',
    shots: [dribbleShot, catchShot],
    losses: [
      { shot: 0, event: 'release', beforeS: 0.02, afterS: 0.02 },
      { shot: 1, event: 'pickup', beforeS: 0.02, afterS: 0.02 },
    ],
  },
  {
    name: 'overhead-hold',
    about: 'the ball is held above the head for long and shot from there',
    shots: [{ ...freeThrow, distanceM: 3, start: { kind: 'overhead-hold', holdS: 2 } }],
  },
  {
    name: 'small-ball-low-hoop',
    about: 'a size 5 ball and a hoop of 2.6 m, from 3 m',
    shots: [
      {
        ...freeThrow,
        distanceM: 3,
        hoopHeightM: 2.6,
        releaseHeightM: 1.6,
        dipHeightM: 0.75,
        launchAngleDeg: 56,
        spinRps: 1.2,
      },
      {
        ...dribbleShot,
        distanceM: 3,
        hoopHeightM: 2.6,
        releaseHeightM: 1.6,
        dipHeightM: 0.5,
        launchAngleDeg: 56,
        spinRps: 1,
      },
    ],
    ballSize: 5,
  },
  {
    name: 'everything-at-once',
    about: 'every effect that a simple model leaves out is switched on',
    shots: [dribbleShot, catchShot],
    switches: switchNames,
  },
];

export function scenarioNames(): readonly string[] {
  return [...scenarios.map((scenario) => scenario.name), 'practice'];
}

/**
 * Options to play a scenario: those of `scenarios`, or `practice`, a drawn mixture of 12 shots and 8 other acts.
 *
 * @param seed another one gives another player, ball and sensor doing the same; the default is that of the files.
 * @throws RangeError for a name that is none.
 */
export function scenarioPractice(name: string, seed: string | number = 1): PracticeOptions {
  if (name === 'practice') return { seed: `practice/${seed}`, acts: drawPracticePlan(seed, { shots: 12, decoys: 8 }) };
  const scenario = scenarios.find((candidate) => candidate.name === name);
  if (!scenario)
    throw new RangeError(
      `no scenario is called ${JSON.stringify(name)}: expected one of ${scenarioNames().join(', ')}`,
    );
  const own = `${name}//${seed}`;
  const random = new Random(own);
  const acts: ActPlan[] = [{ kind: 'idle', durationS: 0.8 }];
  scenario.shots.forEach((fixed, i) => {
    acts.push(drawShotPlan(random.fork(`shot ${i}`), usualPractice, fixed));
  });
  scenario.decoys?.forEach((kind, i) => {
    acts.push({
      ...drawDecoyPlan(random.fork(`decoy ${i}`), [kind]),
      size: random.fork(`size ${i}`).between(0.2, 0.8),
    });
  });
  acts.push({ kind: 'idle', durationS: 0.5 });
  const options: PracticeOptions & { sensor: SensorModel } = {
    seed: own,
    acts,
    sensor: drawSensor(own, scenario.sensor ?? {}),
    switches: switchesOn(...(scenario.switches ?? [])),
    ...(scenario.losses ? { eventLosses: scenario.losses } : {}),
    ...(scenario.ballSize ? { ballSize: scenario.ballSize } : {}),
  };
  if (scenario.spinAxisOffDeg === undefined) return options;
  const sensorToBall = mountNear(firstSpinAxisInBall(options), scenario.spinAxisOffDeg);
  return { ...options, sensor: { ...options.sensor, sensorToBall } };
}

/** Direction of the spin in ball axes at the start of the first shot's flight; the motion does not depend on the sensor. */
export function firstSpinAxisInBall(options: PracticeOptions): Vec3 {
  const state = newState();
  for (const act of practiceActs(options)) {
    if (!act.shot) continue;
    new Motion(act.segments, act.world).stateAt(act.shot.releaseS, state);
    return unitOr(rotateBack(attitudeOf(state), vectorAt(state, stateLayout.rate)), [0, 0, 1]);
  }
  throw new RangeError('a scenario with a spin axis needs a shot');
}

/** A mount whose z axis lies `offDeg` from an axis given in ball axes. */
export function mountNear(axis: Vec3, offDeg: number): Quat {
  const across = unitOr(cross([0, 0, 1], axis), [1, 0, 0]);
  const angle = Math.acos(Math.min(1, Math.max(-1, axis[2]))) - (offDeg * Math.PI) / 180;
  return quatFromRotationVector(scale(across, angle));
}
