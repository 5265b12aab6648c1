/**
 * What one simulated flight tells: information matrix of its samples and gradients of its measures, both from numerical
 * derivatives of the simulator's noise-free readings. For the bounds of `session-bound.ts`.
 */
import { inverse, Matrix } from 'ml-matrix';
import {
  type FlightParameters,
  flightParameterNames,
  flightReadings,
  packFlight,
  unpackFlight,
} from '../../src/simulate/flight-readings.ts';
import type { Vec3 } from '../../src/simulate/vectors.ts';

const degrees = 180 / Math.PI;

/** Measures with a bound, in the units of their names. */
export const boundedMeasures = [
  'launchSpeedMps',
  'launchAngleDeg',
  'entryAngleDeg',
  'spinRps',
  'axisTiltDeg',
  'backspinRps',
  'sidespinRps',
  'rifleSpinRps',
  'apexM',
] as const;
export type BoundedMeasure = (typeof boundedMeasures)[number];

/** Where the quantities stand in the information matrix; those before `session` belong to one flight. */
const local = [
  'velocityMpsX',
  'velocityMpsZ',
  'spinRadpsX',
  'spinRadpsY',
  'spinRadpsZ',
  'turnRadX',
  'turnRadY',
  'turnRadZ',
  'spinDecayPerS',
] as const;
export const sessionUnknowns = [
  'dragPerM',
  'liftFactor',
  'accelBiasMps2X',
  'accelBiasMps2Y',
  'accelBiasMps2Z',
  'offsetMX',
  'offsetMY',
  'offsetMZ',
  'gyroScaleErrorX',
  'gyroScaleErrorY',
  'gyroScaleErrorZ',
  'gyroBiasRadpsX',
  'gyroBiasRadpsY',
  'gyroBiasRadpsZ',
  'buoyancyMps2',
  'dragSlope',
  'dragBend',
  'liftBend',
] as const;
/** Three further ones of each flight: what turns the gyroscope's reading beyond scale and bias. */
const crossAxis = ['gyroBiasRadpsX', 'gyroBiasRadpsY', 'gyroBiasRadpsZ'] as const;
export const columns: readonly string[] = [...local, ...crossAxis, ...sessionUnknowns];
export const localCount = local.length + crossAxis.length;
const places = columns.map((name) => flightParameterNames.indexOf(name));

/** Differences far above rounding and far below curvature. */
const steps: Readonly<Record<string, number>> = {
  velocityMpsX: 1e-3,
  velocityMpsZ: 1e-3,
  spinRadpsX: 1e-3,
  spinRadpsY: 1e-3,
  spinRadpsZ: 1e-3,
  turnRadX: 1e-4,
  turnRadY: 1e-4,
  turnRadZ: 1e-4,
  spinDecayPerS: 1e-4,
  dragPerM: 1e-4,
  buoyancyMps2: 1e-3,
  dragSlope: 1e-3,
  dragBend: 1e-3,
  liftBend: 1e-3,
  liftFactor: 1e-4,
  accelBiasMps2X: 1e-2,
  accelBiasMps2Y: 1e-2,
  accelBiasMps2Z: 1e-2,
  offsetMX: 1e-3,
  offsetMY: 1e-3,
  offsetMZ: 1e-3,
  gyroScaleErrorX: 1e-4,
  gyroScaleErrorY: 1e-4,
  gyroScaleErrorZ: 1e-4,
  gyroBiasRadpsX: 1e-4,
  gyroBiasRadpsY: 1e-4,
  gyroBiasRadpsZ: 1e-4,
};
export const stepOf = (column: number) => steps[columns[column] as string] as number;

/** One flight as the bound sees it: where the sensor read, with what noise. */
export interface BoundFlight {
  readonly parameters: FlightParameters;
  /** Instants of the samples received, s from the flight's middle. */
  readonly timesS: Float64Array;
  readonly accelNoiseMps2: number;
  readonly gyroNoiseRadps: number;
}

/** The shot's own ends, s from the flight's middle, and the ring's height above release. */
export interface BoundShot {
  readonly releaseS: number;
  readonly contactS: number;
  readonly ringM: number;
}

/** @returns the flight with one of `columns` changed. */
export function movedFlight(parameters: FlightParameters, column: number, by: number): FlightParameters {
  const vector = packFlight(parameters);
  const place = places[column] as number;
  vector[place] = (vector[place] as number) + by;
  return unpackFlight(vector, parameters);
}

/** Information matrix of the flight's samples, in the order of `columns`. */
export function dataInformation(flight: BoundFlight): Matrix {
  const { parameters, timesS, accelNoiseMps2, gyroNoiseRadps } = flight;
  const rows = 3 * timesS.length;
  const derivatives = columns.map((_, column) => {
    const h = stepOf(column);
    const plus = flightReadings(movedFlight(parameters, column, h), timesS);
    const minus = flightReadings(movedFlight(parameters, column, -h), timesS);
    const out = new Float64Array(2 * rows);
    for (let i = 0; i < rows; i++) {
      out[i] = ((plus.accelMps2[i] as number) - (minus.accelMps2[i] as number)) / (2 * h * accelNoiseMps2);
      out[rows + i] = ((plus.gyroRadps[i] as number) - (minus.gyroRadps[i] as number)) / (2 * h * gyroNoiseRadps);
    }
    return out;
  });
  const information = Matrix.zeros(columns.length, columns.length);
  for (const [a, da] of derivatives.entries()) {
    for (let b = 0; b <= a; b++) {
      const db = derivatives[b] as Float64Array;
      let sum = 0;
      for (let i = 0; i < da.length; i++) sum += (da[i] as number) * (db[i] as number);
      information.set(a, b, sum);
      information.set(b, a, sum);
    }
  }
  return information;
}

/** Unknowns that move the ball; the others change only what the sensor reads. */
const movesBall: ReadonlySet<string> = new Set([
  ...local.filter((name) => !name.startsWith('turn')),
  'dragPerM',
  'liftFactor',
  'buoyancyMps2',
  'dragSlope',
  'dragBend',
  'liftBend',
]);

interface ReadMeasures {
  readonly measures: Readonly<Record<Exclude<BoundedMeasure, 'entryAngleDeg'>, number>>;
  readonly contactHeightM: number;
  readonly entryAt: (heightM: number) => number;
}

const arcStepS = 0.01;

/** The measures of a flight with these parameters, by the definitions; heights are above release. */
function readMeasures(parameters: FlightParameters, shot: BoundShot): ReadMeasures {
  const untilS = shot.contactS + 0.6;
  const count = Math.ceil((untilS - shot.releaseS) / arcStepS) + 1;
  const timesS = Float64Array.from({ length: count }, (_, i) => shot.releaseS + i * arcStepS);
  const { velocityMps } = flightReadings(parameters, timesS);
  const v = (i: number): Vec3 => [
    velocityMps[3 * i] as number,
    velocityMps[3 * i + 1] as number,
    velocityMps[3 * i + 2] as number,
  ];
  const heights = [0];
  for (let i = 1; i < count; i++) heights.push((heights[i - 1] as number) + (arcStepS / 2) * (v(i)[2] + v(i - 1)[2]));
  const launch = v(0);
  const level = Math.hypot(launch[0], launch[1]);
  const size = Math.hypot(...parameters.spinRadps);
  const spin = size * Math.exp(-parameters.spinDecayPerS * shot.releaseS);
  const [sx, sy, sz] = parameters.spinRadps.map((s) => s / size) as [number, number, number];
  const along = (sx * launch[0] + sy * launch[1]) / level;
  const left = (-sx * launch[1] + sy * launch[0]) / level;
  const rps = spin / (2 * Math.PI);
  const top = heights.indexOf(Math.max(...heights));
  const apex = v(top);
  const place = (shot.contactS - shot.releaseS) / arcStepS;
  const before = Math.floor(place);
  const share = place - before;
  const heightBefore = heights[before] as number;
  const contactHeightM = heightBefore + share * ((heights[before + 1] as number) - heightBefore);
  return {
    measures: {
      launchSpeedMps: Math.hypot(...launch),
      launchAngleDeg: Math.atan2(launch[2], level) * degrees,
      spinRps: rps,
      axisTiltDeg: Math.atan2(sz, -left) * degrees,
      backspinRps: -left * rps,
      sidespinRps: sz * rps,
      rifleSpinRps: along * rps,
      apexM: (heights[top] as number) + apex[2] ** 2 / (2 * parameters.gravityMps2),
    },
    contactHeightM,
    entryAt: (heightM) => {
      let i = top;
      while (i < count - 2 && (heights[i + 1] as number) > heightM) i++;
      // Within one step the fall is even faster by g: solve for the time.
      const [vz, g] = [v(i)[2], parameters.gravityMps2];
      const dropM = (heights[i] as number) - heightM;
      const h = (vz + Math.sqrt(Math.max(0, vz * vz + 2 * g * dropM))) / g;
      const next = v(i + 1);
      const at = v(i).map(
        (value, axis) => value + (h / arcStepS) * ((next[axis] as number) - value),
      ) as unknown as Vec3;
      return Math.atan2(-at[2], Math.hypot(at[0], at[1])) * degrees;
    },
  };
}

/** Gradients of the measures by the unknowns, in the order of `columns`. */
export function measureGradients(parameters: FlightParameters, shot: BoundShot) {
  const base = readMeasures(parameters, shot);
  const gradients = Object.fromEntries(
    [...boundedMeasures, 'entryFromContact'].map((name) => [name, [] as number[]]),
  ) as Record<BoundedMeasure | 'entryFromContact', number[]>;
  for (const [column, unknown] of columns.entries()) {
    if (!movesBall.has(unknown)) {
      for (const gradient of Object.values(gradients)) gradient.push(0);
      continue;
    }
    const h = stepOf(column);
    const read = (by: number) => {
      const at = readMeasures(movedFlight(parameters, column, by), shot);
      const shifted = shot.ringM + at.contactHeightM - base.contactHeightM;
      return { ...at.measures, entryAngleDeg: at.entryAt(shot.ringM), entryFromContact: at.entryAt(shifted) };
    };
    const plus = read(h);
    const minus = read(-h);
    for (const name of Object.keys(gradients) as (keyof typeof gradients)[]) {
      gradients[name].push((plus[name] - minus[name]) / (2 * h));
    }
  }
  const entryPerM = (base.entryAt(shot.ringM - 0.01) - base.entryAt(shot.ringM + 0.01)) / 0.02;
  return { ...gradients, entryPerM, contactAboveRingM: base.contactHeightM - shot.ringM };
}

/** Inverse after bringing the diagonal to one: the unknowns differ by many powers of ten. */
export function scaledInverse(information: Matrix): Matrix {
  const n = information.rows;
  const size = Array.from({ length: n }, (_, i) => Math.sqrt(information.get(i, i)));
  const scaled = information.clone();
  for (let i = 0; i < n; i++) {
    for (let j = 0; j < n; j++) scaled.set(i, j, scaled.get(i, j) / ((size[i] as number) * (size[j] as number)));
  }
  const inverted = inverse(scaled);
  for (let i = 0; i < n; i++) {
    for (let j = 0; j < n; j++) inverted.set(i, j, inverted.get(i, j) / ((size[i] as number) * (size[j] as number)));
  }
  return inverted;
}
