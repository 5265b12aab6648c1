import { standardGravityMps2 } from '../foundation/constants.ts';
import type { SensorTraits } from '../foundation/imu-block.ts';
import { Random } from './random.ts';
import { type Quat, quatFromRotationVector, rotate, scale, type Vec3, zero3 } from './vectors.ts';

const radiansPerDegree = Math.PI / 180;

/** 3 × 3 matrix, row by row. */
export type Matrix3 = readonly [Vec3, Vec3, Vec3];

/** Low-pass filter inside the sensor, one for all axes. `none` samples the instant. */
export type SensorFilter = { readonly kind: 'none' } | { readonly kind: 'butterworth2'; readonly cutoffHz: number };

/** One particular sensor with all its faults, its place in the ball and its radio link. SI units. */
export interface SensorModel {
  /** 32 hex digits. */
  readonly sensorId: string;
  readonly rateHz: number;
  /** True rate over nominal rate, minus one. */
  readonly rateError: number;
  /** Turns sensor axes into ball axes. */
  readonly sensorToBall: Quat;
  /** Ball centre to sensor, sensor axes. */
  readonly offsetM: Vec3;
  readonly accelNoiseMps2: number;
  readonly gyroNoiseRadps: number;
  readonly accelBiasMps2: Vec3;
  readonly gyroBiasRadps: Vec3;
  /** True value to reading without bias: identity plus scale errors and misalignment. */
  readonly accelGain: Matrix3;
  readonly gyroGain: Matrix3;
  readonly accelRangeMps2: number;
  readonly gyroRangeRadps: number;
  readonly accelScaleMps2PerLsb: number;
  readonly gyroScaleRadpsPerLsb: number;
  /** Readings are whole numbers of the scale, as int16 can hold them. Off for proofs of the noise-free kind. */
  readonly quantise: boolean;
  readonly filter: SensorFilter;
  readonly link: LinkModel;
}

/** What happens between the sample and the host. */
export interface LinkModel {
  readonly tickUnitS: number;
  /** Changes with every start of the sensor, 0..255. */
  readonly startNumber: number;
  /** Device tick at session time zero, u32. */
  readonly startTick: number;
  /** Device seconds per true second, minus one. */
  readonly clockDrift: number;
  /** Stamps of packets come late by up to this, uniform. */
  readonly tickJitterS: number;
  /** Longest time a packet spans; at most 25 ms. */
  readonly packetSpanS: number;
  /** Share of packets lost, one by one at random. */
  readonly lossShare: number;
  /** Losses come in runs of this mean length. */
  readonly lossRunLength: number;
  /** Least time from the last sample of a packet to the host. */
  readonly delayFloorS: number;
  /** Mean of the exponential delay above the floor. */
  readonly delayMeanS: number;
  /** How often the host is held up, and for how long at most: packets then come late in a burst. */
  readonly stallsPerS: number;
  readonly stallS: number;
  /** Host clock at session time zero, seconds since the Unix epoch. */
  readonly hostStartS: number;
}

/** Ranges from which a sensor is drawn. */
export interface SensorDraw {
  readonly rateHz: number;
  readonly rateErrorSigma: number;
  readonly offsetM: readonly [number, number];
  readonly accelNoiseMps2: number;
  readonly gyroNoiseRadps: number;
  readonly accelBiasSigmaMps2: number;
  readonly gyroBiasSigmaRadps: number;
  readonly accelScaleSigma: number;
  readonly gyroScaleSigma: number;
  readonly misalignmentSigmaRad: number;
  readonly accelRangeMps2: number;
  readonly gyroRangeRadps: number;
  readonly accelScaleMps2PerLsb: number;
  readonly gyroScaleRadpsPerLsb: number;
  readonly quantise: boolean;
  /** Cut-off over nominal rate of the usual filter; null for none. */
  readonly filterCutoffShare: number | null;
  readonly lossShare: number;
  readonly clockDriftSigma: number;
}

/**
 * Sensor of the usual accuracy figures: noise 0.03 m/s² and 0.07 °/s a sample, bias 0.25 m/s² and 1 °/s, gyro scale 1 %,
 * offset 8–20 mm, 2 % of packets lost, ranges ±16 g and ±2000 °/s with the scales of a common chip (0.488 mg and
 * 70 mdps, LSM6DSV), whose own filter cuts at 0.4 of the sample rate.
 */
export const usualSensor: SensorDraw = {
  rateHz: 200,
  rateErrorSigma: 0.01,
  offsetM: [0.008, 0.02],
  accelNoiseMps2: 0.03,
  gyroNoiseRadps: 0.07 * radiansPerDegree,
  accelBiasSigmaMps2: 0.25,
  gyroBiasSigmaRadps: radiansPerDegree,
  accelScaleSigma: 0.001,
  gyroScaleSigma: 0.01,
  misalignmentSigmaRad: 0.001,
  accelRangeMps2: 16 * standardGravityMps2,
  gyroRangeRadps: 2000 * radiansPerDegree,
  accelScaleMps2PerLsb: 0.488e-3 * standardGravityMps2,
  gyroScaleRadpsPerLsb: 0.07 * radiansPerDegree,
  quantise: true,
  filterCutoffShare: 0.4,
  lossShare: 0.02,
  clockDriftSigma: 20e-6,
};

/** Noise of one sample from a density (unit per square root of hertz) and the band up to half the rate. */
export function noiseFromDensity(densityPerRootHz: number, rateHz: number): number {
  return densityPerRootHz * Math.sqrt(rateHz / 2);
}

/** Draws one sensor; the same seed gives the same sensor. Biases and scales are normal, cut at 2.5 standard deviations. */
export function drawSensor(seed: string | number, options: Partial<SensorDraw> = {}): SensorModel {
  const draw = { ...usualSensor, ...options };
  const random = new Random(seed).fork('sensor');
  const three = (sigma: number): Vec3 => [
    random.boundedNormal(0, sigma),
    random.boundedNormal(0, sigma),
    random.boundedNormal(0, sigma),
  ];
  return {
    sensorId: Array.from({ length: 4 }, () => random.nextUint32().toString(16).padStart(8, '0')).join(''),
    rateHz: draw.rateHz,
    rateError: random.boundedNormal(0, draw.rateErrorSigma, 2),
    sensorToBall: random.rotation(),
    offsetM: scale(random.direction(), random.between(...draw.offsetM)),
    accelNoiseMps2: draw.accelNoiseMps2,
    gyroNoiseRadps: draw.gyroNoiseRadps,
    accelBiasMps2: three(draw.accelBiasSigmaMps2),
    gyroBiasRadps: three(draw.gyroBiasSigmaRadps),
    accelGain: gainMatrix(three(draw.accelScaleSigma), three(draw.misalignmentSigmaRad)),
    gyroGain: gainMatrix(three(draw.gyroScaleSigma), three(draw.misalignmentSigmaRad)),
    accelRangeMps2: draw.accelRangeMps2,
    gyroRangeRadps: draw.gyroRangeRadps,
    accelScaleMps2PerLsb: draw.accelScaleMps2PerLsb,
    gyroScaleRadpsPerLsb: draw.gyroScaleRadpsPerLsb,
    quantise: draw.quantise,
    filter:
      draw.filterCutoffShare === null
        ? { kind: 'none' }
        : { kind: 'butterworth2', cutoffHz: draw.filterCutoffShare * draw.rateHz },
    link: {
      tickUnitS: 1e-6,
      startTick: random.nextUint32(),
      startNumber: random.whole(0, 255),
      clockDrift: random.boundedNormal(0, draw.clockDriftSigma),
      tickJitterS: 0.0002,
      packetSpanS: 0.025,
      lossShare: draw.lossShare,
      lossRunLength: 1,
      delayFloorS: 0.006,
      delayMeanS: 0.006,
      stallsPerS: 0.02,
      stallS: 0.25,
      hostStartS: 1_767_225_600,
    },
  };
}

/** A sensor without any fault: what it reads is the motion. */
export function perfectSensor(rateHz: number): SensorModel {
  const drawn = drawSensor('perfect', { rateHz });
  return {
    ...drawn,
    rateError: 0,
    sensorToBall: [1, 0, 0, 0],
    offsetM: zero3,
    accelNoiseMps2: 0,
    gyroNoiseRadps: 0,
    accelBiasMps2: zero3,
    gyroBiasRadps: zero3,
    accelGain: gainMatrix(zero3, zero3),
    gyroGain: gainMatrix(zero3, zero3),
    accelRangeMps2: Number.POSITIVE_INFINITY,
    gyroRangeRadps: Number.POSITIVE_INFINITY,
    quantise: false,
    filter: { kind: 'none' },
    link: { ...drawn.link, startTick: 0, clockDrift: 0, tickJitterS: 0, lossShare: 0, stallsPerS: 0 },
  };
}

/** Scale errors on the diagonal; axes tilted by three small angles against the sensor's own. */
function gainMatrix(scaleErrors: Vec3, tiltRad: Vec3): Matrix3 {
  const q = quatFromRotationVector(tiltRad);
  const row = (i: 0 | 1 | 2, axis: Vec3): Vec3 => scale(rotate(q, axis), 1 + scaleErrors[i]);
  return [row(0, [1, 0, 0]), row(1, [0, 1, 0]), row(2, [0, 0, 1])];
}

/** Rate at which the motion is followed inside the simulator before the sensor's filter. */
export function innerRateHz(sensor: SensorModel): number {
  return 4000 * Math.max(1, Math.ceil((sensor.rateHz * 5) / 4000));
}

/** Delay of slow motion through the sensor's filter, as computed at the inner rate (bilinear transform, prewarped). */
export function filterDelayS(sensor: SensorModel): number {
  if (sensor.filter.kind === 'none') return 0;
  const inner = innerRateHz(sensor);
  return Math.SQRT2 / (2 * inner * Math.tan((Math.PI * sensor.filter.cutoffHz) / inner));
}

/** What an analysis may know of the sensor. */
export function traitsOf(sensor: SensorModel): SensorTraits {
  return {
    nominalRateHz: sensor.rateHz,
    accelRangeMps2: Number.isFinite(sensor.accelRangeMps2) ? sensor.accelRangeMps2 : null,
    gyroRangeRadps: Number.isFinite(sensor.gyroRangeRadps) ? sensor.gyroRangeRadps : null,
    filterDelayS: filterDelayS(sensor),
  };
}
