// Longer than most: the order in which one flight is analysed, from the quiet run to the shot, stands here in one place; the
// arithmetic is in the files it calls.
import { fallThrough } from '../../flight/arc.ts';
import type { AeroPreset, BallPreset } from '../../flight/ball-presets.ts';
import {
  type EndReference,
  type FlightFit,
  flightParameter,
  oddSquares,
  sumOfVariances,
} from '../../flight/flight-fit.ts';
import { type ImuBlock, sampleFlag } from '../../foundation/imu-block.ts';
import { atOnce, type RestingWork } from '../../foundation/resting-work.ts';
import type { Gaussian } from '../../signal/gaussian.ts';
import { add, dot, norm, scale, unit, type Vec3, vecAt } from '../../signal/vec3.ts';
import type { BallSettings, ContactKind, RejectedFlight, Shot, StartKind } from '../shot.ts';
import {
  type ArrivalFlight,
  type ArrivalSearch,
  bouncedBefore,
  closingSpeed,
  findArrival,
  freeBeforeBounce,
  handsVelocity,
  offRolling,
  rollOffFloor,
  roseFromFloor,
  thrownBefore,
} from './arrival.ts';
import {
  heightAt,
  judgeStart,
  type PathPhases,
  phaseLimits,
  type RoomPath,
  readPhases,
  stillAtDoubt,
} from './before-release.ts';
import { type BallCalibration, calibrationPriors, learnFlight, learnNoise } from './calibration.ts';
import { type CalmHold, findCalmHold, restOf, weightDoubt } from './calm-hold.ts';
import { type FlightVerdict, judgeFlight, leastRiseM } from './classify.ts';
import { type FlightStudy, lookOn, studyFlight } from './flight-study.ts';
import { type Impact, type ImpactRebound, judgeContact, maybeFirm, measureImpact } from './impact.ts';
import { leftOverInRoom } from './left-over.ts';
import { velocityDoubts } from './path-doubts.ts';
import { type PathStudy, studyPath } from './path-study.ts';
import type { QuietRun } from './quiet-runs.ts';
import { pushDirection, type Rebound, readRebound, readTurn, type TurnChange } from './rebound.ts';
import {
  expectRing,
  expectSeenRing,
  type RingHeight,
  rememberRing,
  ringAboveRelease,
  ringHeightParameters,
} from './ring-height.ts';
import { assembleShot, forwardOfFeet, type LeastSpeed, leastSpeed, type ShotParts } from './shot-assembly.ts';
import {
  entryVariance,
  jointPrior,
  type PathEvidence,
  type PathKnowledge,
  type PathRow,
  readNumbers,
  type ShotNumbers,
  type Solution,
  type SolutionTask,
  type Spread,
  sharpen,
  shorten,
  solve,
  spreadOf,
} from './shot-solution.ts';
import { carryStill, findStillMoment, middleOf, type StillMoment, stillDoubt } from './still-moments.ts';
import { readTouch, type TouchReading } from './touch-reading.ts';

/** Everything the analysis of one flight may look at. Runs and samples are counted within the block. */
export interface FlightContext {
  readonly block: ImuBlock;
  readonly stepS: number;
  readonly filterDelayS: number;
  readonly ball: BallPreset;
  readonly aero: AeroPreset;
  readonly settings: BallSettings;
  readonly calibration: BallCalibration;
  readonly before: readonly QuietRun[];
  readonly run: QuietRun;
  readonly stage: 'early' | 'final';
}

export type FlightOutcome =
  | {
      readonly kind: 'shot';
      readonly shot: Shot;
      readonly calibration: BallCalibration;
    }
  | {
      readonly kind: 'rejected';
      readonly rejected: RejectedFlight;
      readonly calibration: BallCalibration;
    };

/** A bounce lies between two flights no farther apart than this, s. */
const longestBounceS = 0.08;
/** From the end of a flight that lasted surely to a shot's release takes longer than this, s. */
const quickestHandsS = 0.13;
const surelyFlownS = 0.25;
/** The first estimate looks back this far, s: enough for the pickup of a quick shot. */
const earlyWalkS = 1.6;
/** The way before release is walked back at most this far, s. */
const longestWalkS = 4.2;
/** Without an arrival the lift is looked for in this time before release, s: no lift takes longer. */
const longestUnseenS = 2;
/** Noise of the fit's residual beyond which a flight does not follow the physics, m/s². */
const poorFitMps2 = 0.6;
/** No accelerometer's zero is off by more, m/s²; so many standard deviations beyond make a value sure. */
const largestBiasMps2 = 3;
const surelyOff = 3;
/** A touch firmer than this, m/s², so soon, s, that lets the ball go again belongs to the hoop: a hand's catch is hardest later. */
const firmTouch = { forceMps2: 60, withinS: 0.025 } as const;
/** So many standard deviations of the sensor's offset may feign a force after a touch, which changes the spin. */
const offsetSigmas = 2;
/** A rest this near to being too high may be none, m; the one before it then lies within this time, s. */
const doubtfulDropM = 0.15;
const earlierRestS = 2;
/** A lift lasts at most this long, s. */
const longestLiftS = 1.1;
/** One sigma of speed in a still moment: the hands sway, m/s. */
const stillSpeedMps = 0.025;
/** One sigma of the force left over in an arriving flight, m/s², and what an error of its speed adds, per s. */
const freeMps2 = 0.04;
const dragPerSpeed = 0.2;
/** The same along the floor, m/s. */
const walkingMps = 0.4;
/** A player whose ball seems slower than this along the floor while it is still stands and sways with so much, m/s. */
const standingMps = { upTo: 0.4, sway: 0.06 } as const;

/** A path that is off by more than this where the ball left the floor, m/s, lost its way before. */
const mostOffRollingMps = 2.5;

/** For no longer than this a ball floats in hands that stop lifting it, s. */
const floatsS = 0.15;

/** A ball that lay still may seem to rise or sink by what the flight leaves open: sigmas tried, and the most that is allowed for, m/s. */
const stillSigmas = [0, -1, -0.5, 0.5, 1] as const;
const mostRiseDoubtMps = 0.3;

/** A small child lets go of the ball this high above the floor at least, m. */
const lowestReleaseM = 1;

/** Height of the ball's centre on the floor above release, m: negative. */
function floorBelow({ settings, ball }: FlightContext): { readonly expectedM: number; readonly highestM: number } {
  const expectedM = expectRing(settings).meanM - settings.hoopHeightM + ball.diameterM / 2;
  return { expectedM, highestM: settings.releaseHeightM === null ? ball.diameterM / 2 - lowestReleaseM : expectedM };
}

/** What is known of a flight soon after its end; what the ball met, and so whether it was a shot, needs some more samples. */
export interface StudiedFlight {
  readonly kind: 'flown';
  readonly context: FlightContext;
  readonly study: FlightStudy;
  readonly task: SolutionTask;
  /** The task with no more of the way before release than the numbers need. */
  readonly tight: SolutionTask;
  readonly joint: Gaussian;
  readonly solution: Solution;
  readonly arrival: ArrivalFlight | null;
  readonly arrivalS: number | null;
  readonly fromS: number;
  readonly startKind: StartKind;
  readonly rested: boolean;
  /** Whether the flight was taken to lead to the ring of a told spot. */
  readonly ledToRing: boolean;
  /** Errors and way, where the flight looked like a shot. */
  readonly way: ShotWay | null;
}

export type Rejection = Extract<FlightOutcome, { kind: 'rejected' }>;

/** The dearer numbers of a shot. */
interface ShotWay {
  readonly spread: Spread;
  readonly path: PathStudy;
  readonly atRing: AtRing;
}

/** What depends on the ring's height above release, and the height that it was worked out for. */
interface AtRing {
  readonly ringHeight: RingHeight | null;
  readonly entryVariance: number;
  readonly least: LeastSpeed | null;
}

function rejection(
  context: FlightContext,
  kind: RejectedFlight['kind'],
  reason: string,
  calibration = context.calibration,
): Rejection {
  const { block, run, filterDelayS } = context;
  const startS = (block.timeS[run.start] as number) - filterDelayS;
  const endS = (block.timeS[run.end - 1] as number) - filterDelayS;
  return { kind: 'rejected', rejected: { startS, endS, kind, reason }, calibration };
}

/**
 * Studies one quiet run: the flight itself and the way before it. This is nearly all of the work, and may rest wherever it yields.
 *
 * @param context with a few hundredths of a second of samples after the flight at least.
 */
export function* studyRun(context: FlightContext): RestingWork<StudiedFlight | Rejection> {
  const { block, run, stepS } = context;
  const startS = block.timeS[run.start] as number;
  const reject = (kind: RejectedFlight['kind'], reason: string): Rejection => rejection(context, kind, reason);
  const previous = context.before[context.before.length - 1];
  const sincePreviousS = previous ? startS - (block.timeS[previous.end - 1] as number) : Infinity;
  // A quiet run has its first and last sample a step away from what began and ended it; a short one may not have been kept.
  const fromFlight = sincePreviousS < longestBounceS + 2 * stepS || freeBeforeBounce(block, run.start);
  if (fromFlight && bouncedBefore(block, run.start, context.filterDelayS)) {
    return reject('rebound', 'the flight began with a short hard bounce, not in a hand');
  }
  const previousS = previous ? (block.timeS[previous.end - 1] as number) - (block.timeS[previous.start] as number) : 0;
  if (sincePreviousS < quickestHandsS && previousS > surelyFlownS) {
    return reject('rebound', `the ball was free until ${sincePreviousS.toFixed(2)} s before: no hand shoots that soon`);
  }
  const walkS = context.stage === 'early' ? earlyWalkS : longestWalkS;
  const horizon = Math.max(0, run.start - Math.ceil(walkS / stepS));
  // Only the time since the ball last flew: through impacts neither attitude nor speed can be carried.
  const lastFlight = context.before[context.before.length - 1];
  const handsFrom = Math.max(horizon, lastFlight ? lastFlight.end : 0, lastClipped(block, horizon, run.start));
  const still = findStillMoment(block, handsFrom, run.start, stepS);
  const calm = findCalmHold(block, carriedFrom(context, horizon), run.start, stepS, context.calibration);
  // The longer of the two tells gravity better, unless its hands tremble.
  const [stillMps2, calmMps2] = [still ? stillDoubt(still) : Infinity, calm ? weightDoubt(calm) : Infinity];
  const resting = stillMps2 <= calmMps2 ? still : calm;
  const doubtMps2 = Math.min(stillMps2, calmMps2);
  const rest = resting ? (toS: number) => carryStill(block, resting, doubtMps2, toS, context.calibration) : null;
  const end = endKnowledge(context);
  const study = yield* studyFlight({ ...context, rest, end }, run);
  if (!study) return reject('not-flight', 'the motion could not be explained as a free flight');
  if (study.fit.residualMps2 > poorFitMps2) {
    return reject(
      'not-flight',
      `the force does not follow a free flight: ${study.fit.residualMps2.toFixed(2)} m/s² are left over`,
    );
  }
  const cannotBe = impossibleSensor(study.fit, context.ball);
  if (cannotBe) return reject('not-flight', cannotBe);
  yield;
  const delayS = context.filterDelayS;
  const { release, contact } = study;
  const releaseS = release?.timeS ?? null;
  const contactS = contact?.timeS ?? null;
  // Where the release fell into a gap, the model's is the first sample seen; its time is not given.
  const task: SolutionTask = {
    block,
    study,
    aero: context.aero,
    releaseS: releaseS ?? (block.timeS[study.start] as number),
    contactS: context.stage === 'early' ? null : (contactS ?? unseenContact(block, study).timeS),
    from: firstInFlight(block, study, releaseS),
    to: horizon,
  };
  let joint = jointPrior(study);
  let solution = solve(task, joint.mean);
  const noise = 1.8 * study.fit.residualMps2;
  const search: ArrivalSearch = {
    block,
    runs: context.before,
    solution,
    joint,
    aero: context.aero,
    from: task.from,
    stepS,
    noiseMps2: noise,
    filterDelayS: delayS,
    floorM: floorBelow(context).expectedM,
  };
  let arrival = findArrival(search);
  yield;
  if (context.stage === 'final') {
    const knowledge = pathKnowledge(context, task, { arrival, still, calm }, solution, search);
    yield;
    ({ joint, solution } = yield* sharpen(task, joint, solution, knowledge));
  }
  if (arrival) {
    const upTo = context.before.indexOf(arrival.within) + 1;
    const again = findArrival({ ...search, runs: context.before.slice(0, upTo), solution, joint });
    if (again?.within === arrival.within) arrival = again;
  }
  const arrivalS = arrival ? (arrival.end.timeS ?? (block.timeS[lastBefore(arrival)] as number)) : null;
  const walkedS = solution.walk.timeS[solution.walk.length - 1] as number;
  const fromS = arrivalS ?? Math.max(walkedS, task.releaseS - longestUnseenS);
  const first = readPhases(solution.path, fromS, false);
  const offMps = Math.min(mostRiseDoubtMps, heightDoubt(study, 1));
  const stillS = Math.max(...stillSigmas.map((sigmas) => stillAtDoubt(solution.path, fromS, first, sigmas * offMps)));
  const startKind = decideStart(context, task, arrival, solution, fromS, task.releaseS - longestLiftS - walkedS, {
    ...first,
    stillS,
  });
  const held = startKind === 'hold';
  const flown: StudiedFlight = {
    kind: 'flown',
    context,
    study,
    task,
    tight: { ...task, to: walkEnd(context, task, solution.path, arrival, first, held) },
    joint,
    solution,
    arrival,
    arrivalS,
    fromS,
    startKind,
    rested: resting !== null,
    ledToRing: end !== null && end(study) !== null,
    way: null,
  };
  // By what was seen of the touch so far; where it turns out otherwise, the rest follows then.
  const { verdict, ringHeight } = judgeEnd(flown, study);
  if (!verdict.shot) return flown;
  yield;
  return { ...flown, way: yield* measureWay(flown, ringHeight) };
}

/** @returns what the fit had to believe of the sensor that no sensor in a ball can be; null where it is believable. */
function impossibleSensor({ state, covariance }: FlightFit, { diameterM }: BallPreset): string | null {
  const sigma = (at: number) => Math.sqrt(Math.max(...[0, 1, 2].map((axis) => covariance.get(at + axis, at + axis))));
  const biasMps2 = norm(state.biasMps2);
  if (biasMps2 - surelyOff * sigma(flightParameter.bias) > largestBiasMps2) {
    const read = `in flight the accelerometer reads ${biasMps2.toFixed(1)} m/s² that no flight explains`;
    return `${read}: were units changed, or gravity taken out of an axis?`;
  }
  const offsetM = norm(state.offsetM);
  if (offsetM - surelyOff * sigma(flightParameter.offset) > diameterM / 2) {
    return `its turning would put the sensor ${offsetM.toFixed(2)} m from the ball's centre, outside the ball: check units and axes`;
  }
  return null;
}

/** Spread of the numbers and the way before release. */
function* measureWay(flown: StudiedFlight, ringHeight: RingHeight | null): RestingWork<ShotWay> {
  const { context, study, tight, solution, joint, fromS, startKind } = flown;
  const { stepS } = context;
  const best = shorten(tight, solution);
  const spread = yield* spreadOf(tight, best, joint);
  const path = yield* studyPath({
    task: tight,
    best,
    shifted: spread.shifted,
    stepS,
    pickupS: fromS,
    held: startKind === 'hold',
    releaseLost: (study.release?.timeS ?? null) === null,
  });
  yield;
  return { spread, path, atRing: measureAtRing(flown, spread, ringHeight) };
}

function measureAtRing(
  { context, study, solution }: StudiedFlight,
  spread: Spread,
  ringHeight: RingHeight | null,
): AtRing {
  return {
    ringHeight,
    entryVariance: entryVariance(spread, solution, ringHeight),
    least: leastSpeed(context, study, readNumbers(solution, null).backspin, ringHeight),
  };
}

function sameRing(a: RingHeight | null, b: RingHeight | null): boolean {
  return a?.meanM === b?.meanM && a?.standardDeviationM === b?.standardDeviationM && a?.byContact === b?.byContact;
}

/** A blow of this size, m/s², has grown to it within this time, s. */
const begunBlow = { forceMps2: 90, withinS: 0.012 } as const;

/** A contact that fell among lost samples may have come anywhere there: the middle, and one sigma, s. */
function unseenContact(block: ImuBlock, { contact, around, end }: FlightStudy) {
  const lastS = block.timeS[end - 1] as number;
  if (!contact) return { timeS: lastS, standardErrorS: 0 };
  const after = contact.outside;
  const afterS = around.timeS[after] as number;
  const size = (i: number) => around.sizeMps2[i] ?? 0;
  // What still grows to a blow has just begun.
  const began = size(after + 1) > size(after) && size(after + 1) > begunBlow.forceMps2;
  const beforeS = Math.max(
    around.timeS[after - 1] ?? lastS,
    began ? afterS - begunBlow.withinS : Number.NEGATIVE_INFINITY,
  );
  return { timeS: (beforeS + afterS) / 2, standardErrorS: (afterS - beforeS) / Math.sqrt(12) };
}

/** However little is known of a flight, so much doubt of where it ended is allowed for, m. */
const mostDoubtM = 0.6;
/** The same of its speed, m/s. */
const mostSpeedDoubtMps = 0.3;

/** One sigma of the height at which a flight ended, m: what vertical speed and up at its middle leave open, over all of it. */
function heightDoubt({ fit }: FlightStudy, flightS: number): number {
  const { up, velocityMps } = fit.state;
  const slopes = [...up, ...fit.upBasis.map((turn) => dot(velocityMps, turn))];
  let variance = 0;
  for (const [p, a] of slopes.entries())
    for (const [q, b] of slopes.entries()) variance += a * b * fit.covariance.get(p, q);
  return flightS * Math.sqrt(Math.max(0, variance));
}

/** One sigma of the speed at the middle of a flight, m/s. */
function speedDoubt({ fit }: FlightStudy): number {
  const along = unit(fit.state.velocityMps, [0, 0, 1]);
  let variance = 0;
  for (const [p, a] of along.entries())
    for (const [q, b] of along.entries()) variance += a * b * fit.covariance.get(p, q);
  return Math.sqrt(Math.max(0, variance));
}

/** What the end of a flight tells. */
interface FlightEnd {
  readonly impact: Impact | null;
  readonly contactKind: ContactKind;
  readonly ringHeight: RingHeight | null;
  readonly numbers: ShotNumbers;
  readonly verdict: FlightVerdict;
}

/** @param study the flight's, with as much after it as was seen by now. */
function judgeEnd({ context, solution }: StudiedFlight, study: FlightStudy): FlightEnd {
  const { block, run } = context;
  const startS = block.timeS[run.start] as number;
  const endS = block.timeS[run.end - 1] as number;
  const { contact } = study;
  const releaseS = study.release?.timeS ?? null;
  const contactS = contact?.timeS ?? null;
  const flightS = (contactS ?? endS) - (releaseS ?? startS);
  const usual = expectRing(context.settings);
  const doubtM = Math.min(mostDoubtM, heightDoubt(study, flightS));
  const ring = { ...usual, standardDeviationM: Math.hypot(usual.standardDeviationM, doubtM) };
  const impact = context.stage === 'final' && contact ? impactOf(context, study, solution) : null;
  const expected = solution.contact;
  const contactKind: ContactKind =
    impact && expected ? judgeContact(impact, expected.positionM[2], ring, floorBelow(context)) : 'unknown';
  const ringHeight =
    context.stage === 'early' ? null : ringOf({ ...context, block }, study, solution, contactKind, impact);
  const numbers = readNumbers(solution, ringHeight?.meanM ?? null);
  const seenEnd = { impact, contactKind, ringHeight, numbers };
  if (context.stage === 'early') return { ...seenEnd, verdict: { shot: true } };
  // A gap hides the instant of the touch, not where the ball was and what happened next.
  const seen = contact !== null;
  const verdict = judgeFlight(
    {
      flightS,
      speedMps: numbers.launchSpeed,
      speedDoubtMps: Math.min(mostSpeedDoubtMps, speedDoubt(study)),
      launchAngleRad: numbers.launchAngle,
      apexM: numbers.apex,
      endHeightM: seen && expected ? expected.positionM[2] : null,
      endRiseMps: seen && expected ? expected.velocityMps[2] : null,
      endAwayM: expected ? Math.hypot(expected.positionM[0], expected.positionM[1]) : null,
      contactKind,
      hard: impact !== null && (impact.hard || isFirm(impact)),
      noHand:
        impact !== null && ((impact.hard && !impact.borne) || impact.freeAgain || impact.fallsOn || impact.tossed),
      passesRing: fallThrough(solution.launch, solution.arcAero, ring.meanM) !== null,
    },
    ring,
    context.settings.hoopHeightM,
  );
  return { ...seenEnd, verdict };
}

/**
 * Tells what a studied flight was, by what came after it.
 *
 * @param block the samples of the study's context and those that came since.
 */
export function judgeRun(studied: StudiedFlight, block: ImuBlock, index: number): FlightOutcome {
  const context: FlightContext = { ...studied.context, block };
  const { stage } = context;
  const study = stage === 'early' ? studied.study : lookOn(context, studied.study);
  const end = endKnowledge(context);
  if (end && (end(study) !== null) !== studied.ledToRing) {
    // The ball led elsewhere than it seemed at first: what was concluded from that goes, too.
    const again = atOnce(studyRun(context));
    return again.kind === 'flown' ? tellRun(again, context, again.study, index) : again;
  }
  return tellRun(studied, context, study, index);
}

function tellRun(studied: StudiedFlight, context: FlightContext, study: FlightStudy, index: number): FlightOutcome {
  const { joint } = studied;
  const { impact, contactKind, ringHeight, numbers, verdict } = judgeEnd({ ...studied, context }, study);
  const taught = learn(context, study);
  const { rings } = context.calibration;
  const calibration = { ...taught, rings: verdict.shot ? rememberRing(rings, ringHeight) : rings };
  if (!verdict.shot) return rejection(context, verdict.kind, verdict.reason, calibration);
  const { spread, path, ...way } = studied.way ?? atOnce(measureWay(studied, ringHeight));
  // The ring may show elsewhere than it seemed at first.
  const atRing = sameRing(way.atRing.ringHeight, ringHeight) ? way.atRing : measureAtRing(studied, spread, ringHeight);
  const variance = { ...spread.variance, entryAngle: atRing.entryVariance };
  const early = context.stage === 'early';
  // What surely stays low is no shot: a first estimate of it would only be taken back.
  if (early && numbers.apex + 2 * Math.sqrt(variance.apex) < leastRiseM) {
    return rejection(context, 'undecided', `the ball rises ${numbers.apex.toFixed(1)} m by what was seen so far`);
  }
  const parts: ShotParts = {
    index,
    stage: context.stage,
    context,
    study,
    task: studied.tight,
    joint,
    numbers,
    path,
    variance,
    startKind: studied.startKind,
    arrival: studied.arrival,
    arrivalS: studied.arrivalS,
    release: study.release,
    contact: early ? null : study.contact,
    contactKind,
    impact,
    ringHeight,
    least: atRing.least,
    delayS: context.filterDelayS,
    rested: studied.rested,
  };
  return { kind: 'shot', shot: assembleShot(parts), calibration };
}

/** First sample since which an attitude can be carried to the flight: no axis of the gyroscope was at its end and the ball was not struck. */
function carriedFrom({ block, before, run }: FlightContext, horizon: number): number {
  const flown = before.filter((r) => (block.timeS[r.end - 1] as number) - (block.timeS[r.start] as number) > floatsS);
  let from = Math.max(horizon, flown[flown.length - 1]?.end ?? 0);
  for (let i = from; i < run.start; i++) {
    if (((block.flags[i] as number) & sampleFlag.gyroClipped) !== 0) from = i + 1;
  }
  return from;
}

/** One past the last sample before `to` at which a sensor axis was at its end. */
function lastClipped(block: ImuBlock, from: number, to: number): number {
  for (let i = to - 1; i >= from; i--) {
    if (((block.flags[i] as number) & (sampleFlag.accelClipped | sampleFlag.gyroClipped)) !== 0) return i + 1;
  }
  return from;
}

/** First sample after release; the sample before it may still feel the hand. */
function firstInFlight(block: ImuBlock, study: FlightStudy, releaseS: number | null): number {
  let i = study.start;
  if (releaseS === null) return i;
  while (i > 0 && (block.timeS[i - 1] as number) >= releaseS) i--;
  return i;
}

/** Where the flight led, when the spot on the court was told and the first study says it ended at the ring. */
function endKnowledge(context: FlightContext): ((study: FlightStudy) => EndReference | null) | null {
  const { settings, stage } = context;
  if (stage === 'early' || settings.distanceM === null || settings.releaseHeightM === null) return null;
  const distanceM = settings.distanceM;
  const releaseHeightM = settings.releaseHeightM;
  return (study) => {
    const releaseS = study.release?.timeS ?? null;
    const contactS = study.contact?.timeS ?? null;
    if (releaseS === null || contactS === null) return null;
    const task: SolutionTask = {
      block: context.block,
      study,
      aero: context.aero,
      releaseS,
      contactS,
      from: study.start,
      to: Math.max(0, study.start - 1),
    };
    const solution = solve(task, jointPrior(study).mean);
    const impact = impactOf(context, study, solution);
    const height = solution.contact?.positionM[2] ?? 0;
    const ring = expectRing(settings);
    if (!impact || judgeContact(impact, height, ring, floorBelow(context)) !== 'ring') return null;
    return {
      releaseS,
      contactS,
      rise: { meanM: settings.hoopHeightM - releaseHeightM + 0.06, standardDeviationM: 0.12 },
      distance: { meanM: distanceM - forwardOfFeet.meanM, standardDeviationM: Math.hypot(0.3, 0.25) },
    };
  };
}

function isFirm({ freeAgain, peakMps2, riseS }: Impact): boolean {
  return freeAgain && peakMps2 > firmTouch.forceMps2 && riseS < firmTouch.withinS;
}

function impactOf(context: FlightContext, study: FlightStudy, solution: Solution): Impact | null {
  if (!study.contact) return null;
  const { block, aero, ball } = context;
  const { axes } = solution;
  const touch = study.contact.outside;
  const seen = readRebound(block, study, aero, touch);
  const inAxes = (v: Vec3): Vec3 => [dot(v, axes.forward), dot(v, axes.left), dot(v, axes.up)];
  const push = seen && pushDirection(seen.impulseMps, seen.turnRadps, ball.diameterM / 2);
  const rebound: ImpactRebound | null = seen && {
    impulseMps: inAxes(seen.impulseMps),
    standardDeviationMps: seen.standardDeviationMps,
    push: push && inAxes(push),
    pushErrorRad: seen.standardDeviationMps / Math.max(0.1, norm(seen.impulseMps)),
  };
  const offsetM = Math.sqrt(sumOfVariances(study.fit.covariance, flightParameter.offset));
  const feignedMps2 = (i: number) => {
    const w = vecAt(block.gyroRadps as Float64Array, study.around.first + i);
    const clipped = ((block.flags[study.around.first + i] as number) & sampleFlag.gyroClipped) !== 0;
    // Beyond the gyroscope's end the ball may turn half as fast again, and the lever with its square.
    return (offsetSigmas * offsetM + (clipped ? 1.25 * norm(study.fit.state.offsetM) : 0)) * dot(w, w);
  };
  const turn = readTurn(block, study, touch);
  const unseenTurn = turn && study.contact.timeS === null ? norm(turn.radps) / Math.max(1, norm(turn.beforeRadps)) : 0;
  // A push J at the rim of a hollow sphere turns it by 3/2 J / R at most.
  const leastMps = turn ? (2 / 3) * (ball.diameterM / 2) * (norm(turn.radps) - 2 * turn.standardDeviation) : 0;
  const known = { rebound, reading: null, unseenTurn, leastMps, feignedMps2 };
  const impact = measureImpact(block, study.around, touch, axes, known);
  return turn && maybeFirm(impact) ? { ...impact, reading: readingOf(context, solution, turn, seen) } : impact;
}

function readingOf(
  { ball, settings, calibration }: FlightContext,
  { axes, contact }: Solution,
  turn: TurnChange,
  rebound: Rebound | null,
): TouchReading | null {
  if (!contact) return null;
  const inAxes = (v: Vec3): Vec3 => [dot(v, axes.forward), dot(v, axes.left), dot(v, axes.up)];
  const expected = expectSeenRing(settings, calibration.rings);
  return readTouch(
    {
      velocityMps: contact.velocityMps,
      spinRadps: inAxes(turn.beforeRadps),
      radiusM: ball.diameterM / 2,
      turn: { radps: inAxes(turn.radps), standardDeviation: turn.standardDeviation },
      impulse: rebound && {
        mps: inAxes(rebound.impulseMps),
        standardDeviation: rebound.standardDeviationMps,
      },
      next: turn.next,
    },
    {
      heightM: contact.positionM[2],
      ringM: expected.meanM,
      standardDeviationM: Math.hypot(expected.standardDeviationM, ringHeightParameters.contactSpreadM),
    },
  );
}

/** How the ball came to the hands, and when they held it still or at least calmly. */
interface HandsEvidence {
  readonly arrival: ArrivalFlight | null;
  readonly still: StillMoment | null;
  readonly calm: CalmHold | null;
}

/** What the way before release must show: a free flight free of force, a still moment without speed. */
function pathKnowledge(
  context: FlightContext,
  task: SolutionTask,
  { arrival, still, calm: calmBefore }: HandsEvidence,
  base: Solution,
  search: ArrivalSearch,
): PathEvidence {
  // A walk through a flight and what ended it tells no speed.
  const calmly = calmBefore && calmBefore.start > (arrival ? lastBefore(arrival) : -1) ? calmBefore : null;
  const stillHeight = still ? heightAtSample(task, base, Math.floor((still.start + still.end) / 2)) : 0;
  // High above the low point a still ball may ride on a jump: no anchor there, unless it is held for longer than any jump lasts.
  const within = still !== null && calmly !== null && calmly.start <= middleOf(still) && middleOf(still) <= calmly.end;
  const anchored = still !== null && (within || stillHeight < -phaseLimits.restBelowM + 0.15);
  const calm = anchored ? null : calmly;
  const { block } = context;
  const midS = (start: number, end: number) => block.timeS[Math.floor((start + end) / 2)] as number;
  /** One sigma along an axis of the velocity that the samples after an instant leave in doubt. */
  const hidden = (sinceS: number) => {
    const doubts = velocityDoubts(block, base.walk, task.from, sinceS);
    return (axis: Vec3) => Math.hypot(0, ...doubts.map((doubt) => dot(doubt, axis)));
  };
  const { forward, left, up } = base.axes;
  const arriving = arrival?.seen ? hidden(midS(arrival.run.start, arrival.run.end)) : null;
  const arrivingMps = arriving ? Math.hypot(arriving(up), arriving(forward), arriving(left)) : 0;
  const seeming = anchored && still ? meanVelocity(task, base, still) : null;
  const stands = seeming !== null && Math.hypot(dot(seeming, forward), dot(seeming, left)) < standingMps.upTo;
  const levelMps = stands ? standingMps.sway : walkingMps;
  const resting = anchored && still ? hidden(midS(still.start, still.end)) : null;
  const seemingRoll = arrival && rollOffFloor(search, arrival, context.ball.diameterM / 2);
  const seemingOff = seemingRoll && offRolling(base, task.from, seemingRoll);
  const roll = seemingOff && norm(seemingOff) < mostOffRollingMps ? seemingRoll : null;
  const rolling = roll && hidden(block.timeS[roll.sample] as number);
  const hiddenSince = calm && hidden(midS(calm.start, calm.end));
  const stretches = [
    ...(arrival?.seen ? [arrival.run] : []),
    ...(resting && still ? [still] : []),
    ...(calm ? [calm.start, calm.end].map((at) => ({ start: at, end: at + 1 })) : []),
  ];
  const rowsOf: PathKnowledge = (solution) => {
    const rows: PathRow[] = [];
    if (arrival?.seen) {
      const means = leftOverInRoom(solution, context.aero, task.from, arrival.run);
      const standardDeviation = Math.hypot(freeMps2, dragPerSpeed * arrivingMps);
      for (const mean of means ?? []) for (const value of mean) rows.push({ value, standardDeviation, sure: false });
    }
    const off = roll && offRolling(solution, task.from, roll);
    if (off && roll && rolling) {
      for (const axis of ['forward', 'left'] as const) {
        const standardDeviation = Math.hypot(roll.standardDeviationMps, rolling(base.axes[axis]));
        rows.push({ value: dot(off, solution.axes[axis]), standardDeviation, sure: false });
      }
    }
    if (calm && hiddenSince) {
      for (const { value, standardDeviation, axis } of restOf(solution, task.from, calm)) {
        rows.push({
          value,
          standardDeviation: Math.hypot(standardDeviation, hiddenSince(base.axes[axis])),
          sure: true,
        });
      }
    }
    if (resting && still) {
      const v = meanVelocity(task, solution, still);
      if (v) {
        const { axes } = solution;
        const sway = stillSpeedMps + 0.05 * still.scatterMps2;
        rows.push({ value: dot(v, axes.up), standardDeviation: Math.hypot(sway, resting(up)), sure: true });
        // A player may walk with the ball held still: level speed is only loosely zero, unless it seems to be.
        rows.push({
          value: dot(v, axes.forward),
          standardDeviation: Math.hypot(levelMps, resting(forward)),
          sure: true,
        });
        rows.push({ value: dot(v, axes.left), standardDeviation: Math.hypot(levelMps, resting(left)), sure: true });
      }
    }
    return rows;
  };
  return { rows: rowsOf, stretches };
}

/** Mean velocity of the ball over a still moment, in which sway cancels; null where the walk does not reach it. */
function meanVelocity(task: SolutionTask, solution: Solution, still: StillMoment): Vec3 | null {
  let sum: Vec3 = [0, 0, 0];
  let count = 0;
  for (let i = still.start; i < still.end; i++) {
    const k = task.from - i;
    if (k < 0 || k >= solution.walk.length) continue;
    sum = add(sum, vecAt(solution.walk.velocityMps, k));
    count++;
  }
  return count > 0 ? scale(sum, 1 / count) : null;
}

function heightAtSample(task: SolutionTask, solution: Solution, sample: number): number {
  const k = task.from - sample;
  if (k < 0 || k >= solution.walk.length) return 0;
  const t = solution.walk.timeS[k] as number;
  let i = 0;
  while (i < solution.path.length - 1 && (solution.path.timeS[i] as number) < t) i++;
  return solution.path.heightM[i] as number;
}

/** Last sample before the hands had the ball, as far as it was seen. */
function lastBefore(arrival: ArrivalFlight): number {
  return arrival.seen ? arrival.run.end - 1 : arrival.end.outside;
}

function decideStart(
  context: FlightContext,
  task: SolutionTask,
  arrival: ArrivalFlight | null,
  solution: Solution,
  fromS: number,
  walkedInHandsS: number,
  phases: PathPhases,
): StartKind {
  // A rest nearer to the low point than to release is one before the lift; a set point is not.
  const { liftS, lowRestS, liftHeightM } = phases;
  const restS = lowRestS !== null && heightAt(solution.path, lowRestS) < liftHeightM / 2 ? lowRestS : liftS;
  // Far back the path is too uncertain to place the lift; hardly any lasts longer than this.
  const inHandsS = Math.max(liftS - fromS, restS - fromS, solution.launch.timeS - longestLiftS - fromS);
  if (!arrival) return judgeStart(null, walkedInHandsS, phases.stillS);
  const hands = handsVelocity(solution, fromS, phases.liftS);
  return judgeStart(
    {
      endS: fromS,
      closingMps: closingSpeed(solution, fromS, hands),
      bounced: arrival.bounced || roseFromFloor(solution, task.from, arrival, floorBelow(context).expectedM),
      rhythm: arrival.rhythm,
      thrown: thrownBefore(context.block, solution, task.from, arrival, context.ball.diameterM / 2, hands),
    },
    inHandsS,
    phases.stillS,
  );
}

/** The shortest walk that still covers what the numbers need. */
function walkEnd(
  context: FlightContext,
  task: SolutionTask,
  path: RoomPath,
  arrival: ArrivalFlight | null,
  phases: { readonly liftS: number; readonly lowRestS: number | null },
  held: boolean,
): number {
  const { block, stepS } = context;
  // The first estimate does not tell the path: only a held ball's clock needs it.
  if (context.stage === 'early' && !held) return Math.max(task.to, task.from - 1);
  const back = (timeS: number) => {
    let i = task.from;
    while (i > task.to && (block.timeS[i] as number) > timeS) i--;
    return i;
  };
  if (held) {
    const restS = phases.lowRestS ?? phases.liftS;
    // Hardly low enough, it may have been none: then the one before counts.
    const doubtful = heightAt(path, restS) > -phaseLimits.restBelowM - doubtfulDropM;
    return back(restS - (doubtful ? earlierRestS : 0.5));
  }
  return arrival ? Math.max(task.to, lastBefore(arrival) + 1 - Math.ceil(0.05 / stepS)) : task.to;
}

/** Height of the ring above release by what the ball met, else by a release height that was told. */
function ringOf(
  context: FlightContext,
  study: FlightStudy,
  solution: Solution,
  kind: ContactKind,
  impact: Impact | null,
): RingHeight | null {
  const { settings, calibration } = context;
  const expected = expectSeenRing(settings, calibration.rings);
  const { contact } = solution;
  const unseenS = study.contact?.timeS === null ? unseenContact(context.block, study).standardErrorS : 0;
  const at = contact && { heightM: contact.positionM[2], doubtM: unseenS * Math.abs(contact.velocityMps[2]) };
  const met = at && impact ? ringAboveRelease(kind, impact, at, expected) : null;
  if (met || settings.releaseHeightM === null) return met;
  return { ...expectRing(settings), byContact: false, interval90M: null };
}

/**
 * What the flight itself taught. What the way before release tells besides is off by what the accelerometer's sensitivity is off, alike in
 * every shot: handed on, it would be counted anew each time.
 */
function learn(context: FlightContext, study: FlightStudy): BallCalibration {
  const { fit } = study;
  if (context.stage === 'early' || !fit.converged) return context.calibration;
  if (fit.inflation > 4 || (fit.data.timeS[fit.data.length - 1] as number) - (fit.data.timeS[0] as number) < 0.4)
    return context.calibration;
  if (fit.priorSquares > oddSquares) return context.calibration;
  const { oddFlights } = study.calibration;
  if (oddFlights > context.calibration.oddFlights && oddFlights < calibrationPriors.mostOddFlights)
    return { ...context.calibration, oddFlights };
  const known = learnNoise(study.calibration, fit.slowLikelihood, fit.hypothesisLikelihood);
  const s = fit.state;
  const { rate: first, count } = flightParameter;
  const sensor = [...s.biasMps2, ...s.offsetM, s.buoyancyMps2, s.dragSlope, s.dragBend, s.liftLag];
  return learnFlight(known, {
    rateRadps: vecAt(fit.track.rateRadps, fit.track.reference),
    clipped: fit.data.rateClipped,
    surprise: fit.priorSquares,
    learnt: {
      mean: [...s.rateCorrectionRadps, s.dragRatio, s.liftGrowth, ...sensor],
      covariance: fit.steadyCovariance.subMatrix(first, count - 1, first, count - 1),
    },
  });
}
