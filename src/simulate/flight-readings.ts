/**
 * What an ideal sensor in a thrown ball reads in flight, as a function of a parameter vector: for Cramér–Rao bounds by
 * numerical derivatives. No noise, no quantisation, no clipping, no filter.
 *
 *     const base = { ...plainFlight, velocityMps: [4.4, 0, 0.5], spinRadps: [0, -12.6, 0] };
 *     const readings = flightReadings(base, timesS);                     // one flight
 *     const vector = packFlight(base);                                   // the same as numbers, names in flightParameterNames
 *     const moved = flightReadings(unpackFlight(vector, base), timesS);  // after changing an entry
 */
import { standardGravityMps2 } from '../foundation/constants.ts';
import {
  multiplyQuat,
  normaliseQuat,
  type Quat,
  quatFromRotationVector,
  rotateBack,
  type Vec3,
  zero3,
} from './vectors.ts';

/** One flight of a ball with equal moments of inertia, described at its middle. Room frame: z up. */
export interface FlightParameters {
  /** Of the ball's centre at mid-flight, room. */
  readonly velocityMps: Vec3;
  /** Angular rate at mid-flight, room. */
  readonly spinRadps: Vec3;
  /** Small turn of the sensor at mid-flight, rotation vector in room axes, on top of `attitude`. */
  readonly turnRad: Vec3;
  /** Sensor to room at mid-flight, w x y z. */
  readonly attitude: Quat;
  /** Drag: a = −dragPerM (1 + dragSlope x + dragBend x²) |v| v with x = |v| / 7 m/s − 1. */
  readonly dragPerM: number;
  /** Relative change of the drag coefficient per relative change of speed, at 7 m/s. */
  readonly dragSlope: number;
  /** The same for the square of that way. */
  readonly dragBend: number;
  /** Upward acceleration by the air displaced. */
  readonly buoyancyMps2: number;
  /** Lift: a = liftFactor (1 + liftBend x) omega × v. */
  readonly liftFactor: number;
  /** Relative change of the lift factor per relative change of speed, at 7 m/s. */
  readonly liftBend: number;
  /** Share of the spin lost a second. */
  readonly spinDecayPerS: number;
  readonly accelBiasMps2: Vec3;
  /** Ball centre to sensor, sensor axes. */
  readonly offsetM: Vec3;
  /** Gyroscope reads (1 + error) times the rate, plus bias, axis by axis. */
  readonly gyroScaleError: Vec3;
  readonly gyroBiasRadps: Vec3;
  readonly gravityMps2: number;
}

export const plainFlight: FlightParameters = {
  velocityMps: [4.5, 0, 0],
  spinRadps: [0, -4 * Math.PI, 0],
  turnRad: zero3,
  attitude: [1, 0, 0, 0],
  dragPerM: 0.0223,
  dragSlope: 0,
  dragBend: 0,
  buoyancyMps2: 0,
  liftFactor: 0.0027,
  liftBend: 0,
  spinDecayPerS: 0.02,
  accelBiasMps2: zero3,
  offsetM: zero3,
  gyroScaleError: zero3,
  gyroBiasRadps: zero3,
  gravityMps2: standardGravityMps2,
};

const triples = [
  'velocityMps',
  'spinRadps',
  'turnRad',
  'accelBiasMps2',
  'offsetM',
  'gyroScaleError',
  'gyroBiasRadps',
] as const satisfies readonly (keyof FlightParameters)[];
const singles = [
  'dragPerM',
  'liftFactor',
  'spinDecayPerS',
  'gravityMps2',
  'dragSlope',
  'buoyancyMps2',
  'dragBend',
  'liftBend',
] as const satisfies readonly (keyof FlightParameters)[];

/** Names of the entries of the packed vector, in order; `attitude` itself is no entry, `turnRad` moves it. */
export const flightParameterNames: readonly string[] = [
  ...triples.flatMap((name) => ['X', 'Y', 'Z'].map((axis) => `${name}${axis}`)),
  ...singles,
];

export function packFlight(parameters: FlightParameters): Float64Array {
  return Float64Array.from([
    ...triples.flatMap((name) => [...parameters[name]]),
    ...singles.map((name) => parameters[name]),
  ]);
}

/** @param base gives the attitude that `turnRad` starts from. */
export function unpackFlight(vector: Float64Array, base: FlightParameters): FlightParameters {
  if (vector.length !== flightParameterNames.length) {
    throw new RangeError(`a flight has ${flightParameterNames.length} parameters, got ${vector.length}`);
  }
  const three = (i: number): Vec3 => [
    vector[3 * i] as number,
    vector[3 * i + 1] as number,
    vector[3 * i + 2] as number,
  ];
  const rest = 3 * triples.length;
  return {
    velocityMps: three(0),
    spinRadps: three(1),
    turnRad: three(2),
    accelBiasMps2: three(3),
    offsetM: three(4),
    gyroScaleError: three(5),
    gyroBiasRadps: three(6),
    dragPerM: vector[rest] as number,
    liftFactor: vector[rest + 1] as number,
    spinDecayPerS: vector[rest + 2] as number,
    gravityMps2: vector[rest + 3] as number,
    dragSlope: vector[rest + 4] as number,
    buoyancyMps2: vector[rest + 5] as number,
    dragBend: vector[rest + 6] as number,
    liftBend: vector[rest + 7] as number,
    attitude: base.attitude,
  };
}

export interface FlightReadings {
  /** Interleaved x y z, 3 a time. */
  readonly accelMps2: Float64Array;
  readonly gyroRadps: Float64Array;
  /** Velocity of the ball's centre, room, 3 a time. */
  readonly velocityMps: Float64Array;
}

/**
 * @param timesS times from mid-flight, negative before, rising.
 * @param maxStepS longest step of the fourth-order Runge–Kutta integration of the velocity.
 */
export function flightReadings(parameters: FlightParameters, timesS: Float64Array, maxStepS = 0.01): FlightReadings {
  const n = timesS.length;
  const out = {
    accelMps2: new Float64Array(3 * n),
    gyroRadps: new Float64Array(3 * n),
    velocityMps: new Float64Array(3 * n),
  };
  const firstAfter = timesS.findIndex((t) => t >= 0);
  const split = firstAfter < 0 ? n : firstAfter;
  let v: Vec3 = parameters.velocityMps;
  let t = 0;
  for (let i = split; i < n; i++) {
    v = advance(parameters, v, t, timesS[i] as number, maxStepS);
    t = timesS[i] as number;
    writeReading(parameters, t, v, i, out);
  }
  v = parameters.velocityMps;
  t = 0;
  for (let i = split - 1; i >= 0; i--) {
    v = advance(parameters, v, t, timesS[i] as number, maxStepS);
    t = timesS[i] as number;
    writeReading(parameters, t, v, i, out);
  }
  return out;
}

/** Speed at which `dragPerM` and `liftFactor` are drag and lift, m/s. */
const slopeReferenceMps = 7;

type Numbers3 = [number, number, number];

function airForce(p: FlightParameters, vx: number, vy: number, vz: number, t: number): Numbers3 {
  const [wx, wy, wz] = p.spinRadps;
  const speed = Math.sqrt(vx * vx + vy * vy + vz * vz);
  const x = speed / slopeReferenceMps - 1;
  const left = Math.exp(-p.spinDecayPerS * t) * p.liftFactor * (1 + p.liftBend * x);
  const drag = p.dragPerM * (1 + x * (p.dragSlope + x * p.dragBend)) * speed;
  return [
    -drag * vx + left * (wy * vz - wz * vy),
    -drag * vy + left * (wz * vx - wx * vz),
    -drag * vz + left * (wx * vy - wy * vx) + p.buoyancyMps2,
  ];
}

function advance(p: FlightParameters, from: Vec3, fromS: number, toS: number, maxStepS: number): Vec3 {
  const steps = Math.max(1, Math.ceil(Math.abs(toS - fromS) / maxStepS));
  const h = (toS - fromS) / steps;
  const g = p.gravityMps2;
  let [x, y, z] = from;
  for (let i = 0; i < steps; i++) {
    const t = fromS + i * h;
    const a = airForce(p, x, y, z, t);
    const b = airForce(p, x + 0.5 * h * a[0], y + 0.5 * h * a[1], z + 0.5 * h * (a[2] - g), t + 0.5 * h);
    const c = airForce(p, x + 0.5 * h * b[0], y + 0.5 * h * b[1], z + 0.5 * h * (b[2] - g), t + 0.5 * h);
    const d = airForce(p, x + h * c[0], y + h * c[1], z + h * (c[2] - g), t + h);
    x += (h / 6) * (a[0] + 2 * b[0] + 2 * c[0] + d[0]);
    y += (h / 6) * (a[1] + 2 * b[1] + 2 * c[1] + d[1]);
    z += (h / 6) * (a[2] + 2 * b[2] + 2 * c[2] + d[2]) - h * g;
  }
  return [x, y, z];
}

function writeReading(p: FlightParameters, t: number, v: Vec3, i: number, out: FlightReadings): void {
  const decay = p.spinDecayPerS;
  // Angle turned since mid-flight about the fixed axis: the integral of the decaying rate.
  const turned = Math.abs(decay) > 1e-9 ? -Math.expm1(-decay * t) / decay : t;
  const spin = Math.exp(-decay * t);
  const [sx, sy, sz] = p.spinRadps;
  const atMid = normaliseQuat(multiplyQuat(quatFromRotationVector(p.turnRad), p.attitude));
  const q = multiplyQuat(quatFromRotationVector([sx * turned, sy * turned, sz * turned]), atMid);
  const force = rotateBack(q, airForce(p, v[0], v[1], v[2], t));
  const w = rotateBack(q, [sx * spin, sy * spin, sz * spin]);
  const [rx, ry, rz] = p.offsetM;
  const along = w[0] * rx + w[1] * ry + w[2] * rz;
  const square = w[0] * w[0] + w[1] * w[1] + w[2] * w[2];
  // omega × (omega × r) plus alpha × r with alpha = −decay omega.
  const swing = [
    w[0] * along - square * rx - decay * (w[1] * rz - w[2] * ry),
    w[1] * along - square * ry - decay * (w[2] * rx - w[0] * rz),
    w[2] * along - square * rz - decay * (w[0] * ry - w[1] * rx),
  ];
  for (let axis = 0; axis < 3; axis++) {
    out.accelMps2[3 * i + axis] = (force[axis] as number) + (swing[axis] as number) + (p.accelBiasMps2[axis] as number);
    out.gyroRadps[3 * i + axis] =
      (1 + (p.gyroScaleError[axis] as number)) * (w[axis] as number) + (p.gyroBiasRadps[axis] as number);
    out.velocityMps[3 * i + axis] = v[axis] as number;
  }
}
