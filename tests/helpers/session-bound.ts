/**
 * Cramér–Rao bounds of a simulated session: the least standard error that any unbiased analysis of the flights could
 * reach, from numerical derivatives of the simulator's noise-free readings.
 *
 * Unknowns of one flight: velocity and spin at its middle, attitude of the sensor, spin decay, and what scale and bias of
 * the gyroscope leave unexplained. Unknowns of the session: drag and lift and their changes with speed, buoyancy, accelerometer bias, sensor offset, gyro scale and bias,
 * with the analyser's priors (`calibrationPriors`, read as numbers) before the first flight and its drift between two. Every
 * free flight of at least 0.4 s out of a hand that came before, decoys among them, has taught what could be learnt from
 * it (van Trees 1968, Detection, Estimation and Modulation Theory I, §2.4.3: information of data and prior adds).
 *
 * Deviations: 1. still moments before a shot, the way to the hand and bounces are left out of the flight's measures, so an analysis that uses
 * them well can lie below the bound; those of the way itself take in both (`way-information.ts`); 2. the sensor's small scale errors of the accelerometer and its misalignment are not unknowns;
 * 3. the filter inside the sensor is left out: in flight nothing moves near its cut-off.
 */
import { Matrix } from 'ml-matrix';
import type { ImuBlock } from '../../src/foundation/imu-block.ts';
import { calibrationPriors } from '../../src/shots/ball/calibration.ts';
import { ballBodies, dragPerM, drawAir, liftFactor } from '../../src/simulate/ball-body.ts';
import { attitudeOf, newState, stateLayout, vectorAt } from '../../src/simulate/ball-state.ts';
import { type FlightParameters, plainFlight } from '../../src/simulate/flight-readings.ts';
import type { PlayedAct } from '../../src/simulate/play-acts.ts';
import { type PracticeOptions, practiceActs } from '../../src/simulate/practice.ts';
import type { PracticeTruth, ShotTruth } from '../../src/simulate/practice-truth.ts';
import { Random } from '../../src/simulate/random.ts';
import type { SensorModel } from '../../src/simulate/sensor-model.ts';
import { multiplyQuat, quatFromRotationVector, rotate } from '../../src/simulate/vectors.ts';
import {
  type BoundedMeasure,
  type BoundFlight,
  type BoundShot,
  boundedMeasures,
  dataInformation,
  localCount,
  measureGradients,
  scaledInverse,
  sessionUnknowns,
} from './flight-information.ts';
import { type BoundWay, changesOf, type WayBounds, type WayChanges, wayBefore, wayBounds } from './way-information.ts';

const shortestFlightS = 0.4;

/** Least standard errors of one shot. The entry angle's holds for a ring whose height above release is known exactly. */
export type MeasureBounds = Readonly<Record<BoundedMeasure, number>> &
  WayBounds & {
    /** The same where that height is read off the contact: by the flight alone, to which comes the spread of the reading. */
    readonly entryFromContactDeg: number;
  };

export interface ShotBound {
  /** With the priors of the analyser. */
  readonly samePriors: MeasureBounds;
  /** The same if it were known that there is no buoyancy and that the drag coefficient is constant, as the simulator has it. */
  readonly plainAir: MeasureBounds;
  /** How far the entry angle moves with the ring's height. */
  readonly entryDegPerM: number;
  /** True height of the ball's centre above the ring at the first contact, m. */
  readonly contactAboveRingM: number;
}

/** What the samples of one flight tell and how its measures follow from its unknowns. */
interface FlightTold {
  readonly information: Matrix;
  readonly localSpread: readonly number[];
  readonly gradients: ReturnType<typeof measureGradients> | null;
  readonly way: WayChanges | null;
}

/** Air in which drag and lift ratio of the analyser are one: its priors are ratios to this. */
const airOfUnits = {
  densityKgpm3: 1.204,
  dragCoefficient: 0.5,
  liftSlope: 1,
  spinDecayPerS: 0.02,
  variableDrag: false,
  buoyancy: false,
};

const unitDragPerM = dragPerM(ballBodies[7], airOfUnits);
const unitLift = liftFactor(ballBodies[7], airOfUnits);

/** Lift coefficient over the spin parameter at which a lag of the lift is turned into a bend: the simulator's. */
const lawLift = 0.5;

/** Standard deviations of the session's unknowns before the first flight. */
function priorSpread(plainAir: boolean): Record<(typeof sessionUnknowns)[number], number> {
  const p = calibrationPriors;
  const known = 1e-6;
  return {
    dragPerM: unitDragPerM * p.dragSpread,
    liftFactor: unitLift * Math.hypot(p.liftGrowthSpread, p.liftLagSpread),
    ...eachAxis('accelBiasMps2', p.biasSpreadMps2),
    ...eachAxis('offsetM', p.offsetSpreadM),
    ...eachAxis('gyroScaleError', p.gyroScaleSpread),
    ...eachAxis('gyroBiasRadps', p.gyroBiasSpreadRadps),
    buoyancyMps2: plainAir ? known : p.buoyancySpreadMps2,
    dragSlope: plainAir ? known : p.dragSlopeSpread,
    dragBend: plainAir ? known : p.dragBendSpread,
    liftBend: plainAir ? known : p.liftLagSpread / lawLift,
  };
}

/** By how much they may drift from one flight to the next. */
function driftSpread(plainAir: boolean): Record<(typeof sessionUnknowns)[number], number> {
  const d = calibrationPriors.drift;
  return {
    dragPerM: unitDragPerM * d.drag,
    liftFactor: unitLift * Math.hypot(d.liftGrowth, d.liftLag),
    ...eachAxis('accelBiasMps2', d.biasMps2),
    ...eachAxis('offsetM', d.offsetM),
    ...eachAxis('gyroScaleError', d.gyroScale),
    ...eachAxis('gyroBiasRadps', d.gyroBiasRadps),
    buoyancyMps2: plainAir ? 0 : d.buoyancyMps2,
    dragSlope: plainAir ? 0 : d.dragSlope,
    dragBend: plainAir ? 0 : d.dragBend,
    liftBend: plainAir ? 0 : d.liftLag / lawLift,
  };
}

type Triple<Name extends string> = Record<`${Name}${'X' | 'Y' | 'Z'}`, number>;

function eachAxis<Name extends string>(name: Name, value: number): Triple<Name> {
  return { [`${name}X`]: value, [`${name}Y`]: value, [`${name}Z`]: value } as Triple<Name>;
}

/** What is known of the session's unknowns, growing flight by flight. */
class SessionKnowledge {
  readonly #plainAir: boolean;
  /** Covariance in the order of `sessionUnknowns`. */
  #covariance: Matrix;

  constructor(plainAir: boolean) {
    this.#plainAir = plainAir;
    const spread = priorSpread(plainAir);
    this.#covariance = Matrix.diag(sessionUnknowns.map((name) => spread[name] ** 2));
  }

  /** Takes in a flight and gives the bounds of its measures by itself and all before. */
  take({ information, localSpread, gradients, way }: FlightTold): MeasureBounds | null {
    const whole = information.clone();
    for (const [i, sd] of localSpread.entries()) whole.set(i, i, whole.get(i, i) + 1 / (sd * sd));
    const prior = scaledInverse(this.#covariance);
    for (let i = 0; i < sessionUnknowns.length; i++) {
      for (let j = 0; j < sessionUnknowns.length; j++) {
        const [a, b] = [localCount + i, localCount + j];
        whole.set(a, b, whole.get(a, b) + prior.get(i, j));
      }
    }
    const covariance = scaledInverse(whole);
    const own = sessionUnknowns.map((_, i) => localCount + i);
    this.#covariance = covariance.selection(own, own);
    const drift = driftSpread(this.#plainAir);
    for (const [i, name] of sessionUnknowns.entries()) {
      this.#covariance.set(i, i, this.#covariance.get(i, i) + drift[name] ** 2);
    }
    if (gradients === null) return null;
    const spread = (gradient: readonly number[]) => Math.sqrt(quadratic(covariance, gradient));
    const bounds = Object.fromEntries(boundedMeasures.map((name) => [name, spread(gradients[name])]));
    return {
      ...(bounds as Record<BoundedMeasure, number>),
      ...(way ? wayBounds(way, whole) : noWay),
      entryFromContactDeg: spread(gradients.entryFromContact),
    };
  }
}

const noWay: WayBounds = { sidePathM: null, pauseS: null, dipDepthM: null };

/** Bounds of the shots of one session; the flights are told in their order. */
export class SessionBound {
  readonly #samePriors = new SessionKnowledge(false);
  readonly #plainAir = new SessionKnowledge(true);

  /** @param shot where the flight is a shot's. @param way of the ball before it. */
  take(flight: BoundFlight, shot: BoundShot | null, way: BoundWay | null = null): ShotBound | null {
    const gradients = shot ? measureGradients(flight.parameters, shot) : null;
    const told = {
      information: dataInformation(flight),
      localSpread: localSpread(flight),
      gradients,
      way: way && changesOf(way),
    };
    const samePriors = this.#samePriors.take(told);
    const plainAir = this.#plainAir.take(told);
    if (!gradients || !samePriors || !plainAir) return null;
    const { entryPerM: entryDegPerM, contactAboveRingM } = gradients;
    return { samePriors, plainAir, entryDegPerM, contactAboveRingM };
  }
}

function localSpread({ parameters }: BoundFlight): number[] {
  const cross = Math.hypot(calibrationPriors.gyroCrossAxis * Math.hypot(...parameters.spinRadps), 1e-4);
  // Velocity, spin and attitude are as good as unknown; spin decay 0.02 ± 0.02 per second.
  return [100, 100, 300, 300, 300, 10, 10, 10, 0.02, cross, cross, cross];
}

/** gᵀ C g. */
function quadratic(covariance: Matrix, gradient: readonly number[]): number {
  let sum = 0;
  for (const [i, a] of gradient.entries()) {
    for (const [j, b] of gradient.entries()) sum += a * b * covariance.get(i, j);
  }
  return sum;
}

/** Flights of a played act that begin in a hand: what follows a bounce is left out, as the analysis leaves it out. */
function flightsOf(act: PlayedAct): { readonly fromS: number; readonly toS: number }[] {
  const flights: { fromS: number; toS: number }[] = [];
  let fromHand = true;
  for (const segment of act.segments) {
    if (segment.touch === 'free') {
      const last = flights.at(-1);
      if (last && Math.abs(last.toS - segment.startS) < 1e-9) last.toS = segment.endS;
      else if (fromHand) flights.push({ fromS: segment.startS, toS: segment.endS });
    } else fromHand = segment.touch === 'hand';
  }
  return flights.filter(({ fromS, toS }) => toS - fromS >= shortestFlightS);
}

/**
 * Bounds of every shot of a session in the given order of acts, with no switch on.
 *
 * @param options as played; the air is drawn here and put in, so use `airFor` for the play as well.
 */
export function boundSession(
  options: PracticeOptions & { readonly sensor: SensorModel },
  block: ImuBlock,
  truth: PracticeTruth,
): ShotBound[] {
  const { sensor } = options;
  const air = airFor(options.seed);
  const gravityMps2 = options.gravityMps2 ?? plainFlight.gravityMps2;
  const acts = practiceActs({ ...options, air });
  const clock = deviceClock(sensor, truth.timeZeroTick);
  const bound = new SessionBound();
  const shots: ShotBound[] = [];
  for (const act of acts) {
    for (const { fromS, toS } of flightsOf(act)) {
      const middleS = (fromS + toS) / 2;
      const segment = act.segments.find((s) => s.touch === 'free' && s.startS <= middleS && s.endS >= middleS);
      if (!segment) continue;
      const state = newState();
      segment.stateAt(middleS, state);
      const flight: BoundFlight = {
        parameters: parametersOf(state, sensor, air, gravityMps2),
        timesS: sampleTimes(block, clock, fromS, toS, middleS),
        accelNoiseMps2: withRounding(sensor.accelNoiseMps2, sensor.accelScaleMps2PerLsb),
        gyroNoiseRadps: withRounding(sensor.gyroNoiseRadps, sensor.gyroScaleRadpsPerLsb),
      };
      const told = truth.shots[shots.length];
      const isShot = act.shot !== null && act.shot.releaseS < middleS && (act.shot.contactS ?? toS) > middleS;
      const way = isShot ? wayBefore(act, flight.parameters, levelling(state), middleS, sensor) : null;
      const shotBound = bound.take(flight, told && isShot ? endsOf(told, act, middleS, toS) : null, way);
      if (shotBound) shots.push(shotBound);
    }
  }
  return shots;
}

function endsOf(told: ShotTruth, act: PlayedAct, middleS: number, toS: number): BoundShot {
  const { hoopHeightM, releaseHeightM } = told.setting;
  return {
    releaseS: (act.shot?.releaseS as number) - middleS,
    contactS: (act.shot?.contactS ?? toS) - middleS,
    ringM: hoopHeightM - releaseHeightM,
  };
}

/** Rounding to whole numbers adds a twelfth of their step squared. */
const withRounding = (noise: number, step: number) => Math.sqrt(noise * noise + (step * step) / 12);

/** Velocity, spin and attitude with the velocity's level part along x: the heading cannot be known. */
function levelled(state: Float64Array, sensor: SensorModel) {
  const turn = levelling(state);
  return {
    velocityMps: rotate(turn, vectorAt(state, stateLayout.velocity)),
    spinRadps: rotate(turn, vectorAt(state, stateLayout.rate)),
    attitude: multiplyQuat(turn, multiplyQuat(attitudeOf(state), sensor.sensorToBall)),
  };
}

/** @returns the flight of a ball of size 7 with this state at its middle, its level velocity turned to x. */
export function parametersOf(
  state: Float64Array,
  sensor: SensorModel,
  air: ReturnType<typeof airFor>,
  gravityMps2: number,
): FlightParameters {
  const full = { ...airOfUnits, ...air };
  const ball = ballBodies[7];
  return {
    ...levelled(state, sensor),
    dragPerM: dragPerM(ball, full),
    liftFactor: liftFactor(ball, full),
    dragSlope: 0,
    dragBend: 0,
    liftBend: 0,
    buoyancyMps2: 0,
    spinDecayPerS: full.spinDecayPerS,
    accelBiasMps2: sensor.accelBiasMps2,
    offsetM: sensor.offsetM,
    gyroScaleError: [sensor.gyroGain[0][0] - 1, sensor.gyroGain[1][1] - 1, sensor.gyroGain[2][2] - 1],
    gyroBiasRadps: sensor.gyroBiasRadps,
    turnRad: [0, 0, 0],
    gravityMps2,
  };
}

/** Turn about the vertical that brings the level part of the velocity to x. */
export function levelling(state: Float64Array) {
  const velocity = vectorAt(state, stateLayout.velocity);
  return quatFromRotationVector([0, 0, -Math.atan2(velocity[1], velocity[0])]);
}

/** The air of a session, drawn by the usual draw so that the bound knows it. */
export function airFor(seed: string | number) {
  const { dragCoefficient, liftSlope, spinDecayPerS } = drawAir(new Random(seed).fork('air of the bound'));
  return { dragCoefficient, liftSlope, spinDecayPerS };
}

/** @returns the true session second of a time on the device's clock. */
function deviceClock(sensor: SensorModel, timeZeroTick: number): (timeS: number) => number {
  const { startTick, tickUnitS, clockDrift } = sensor.link;
  const zeroS = ((((timeZeroTick - startTick) % 2 ** 32) + 2 ** 32) % 2 ** 32) * tickUnitS;
  return (timeS) => (timeS + zeroS) / (1 + clockDrift);
}

function sampleTimes(
  block: ImuBlock,
  trueS: (timeS: number) => number,
  fromS: number,
  toS: number,
  middleS: number,
): Float64Array {
  const times: number[] = [];
  for (let i = 0; i < block.length; i++) {
    const atS = trueS(block.timeS[i] as number);
    if (atS > fromS && atS < toS) times.push(atS - middleS);
  }
  return Float64Array.from(times);
}
