import { sampleFlag } from '../foundation/imu-block.ts';
import type { Random } from './random.ts';
import type { Matrix3, SensorModel } from './sensor-model.ts';
import type { SensorSwitches } from './switches.ts';
import { dot, scale, type Vec3 } from './vectors.ts';

const radiansPerDegree = Math.PI / 180;
const colourTimeS = 0.3;
const colouredAccelMps2 = 0.02;
const colouredGyroRadps = 0.1 * radiansPerDegree;
const driftAccelMps2 = 0.01;
const driftGyroRadps = 0.05 * radiansPerDegree;
const sensitivityRadps = (0.1 * radiansPerDegree) / 9.80665;

/** The faults of one sensor: gain, bias, noise, drift, sensitivity, rattle, clipping and quantisation. */
export class SensorFaults {
  readonly #sensor: SensorModel;
  readonly #switches: SensorSwitches;
  readonly #noise: Random;
  readonly #slow: Random;
  readonly #rattle: Random;
  readonly #sensitivity: Matrix3;
  readonly #drift = new Float64Array(6);
  readonly #colour = new Float64Array(6);
  #lastS = 0;
  // A tick of something loose: a decaying ring in a random direction.
  #tickS = Number.NEGATIVE_INFINITY;
  #tickPush: Vec3 = [0, 0, 0];
  #tickHz = 200;
  #rattleCheckS = 0;
  #lastForce = 9.8;

  constructor(sensor: SensorModel, switches: SensorSwitches, random: Random) {
    this.#sensor = sensor;
    this.#switches = switches;
    this.#noise = random.fork('noise');
    this.#slow = random.fork('slow');
    this.#rattle = random.fork('rattle');
    const own = random.fork('sensitivity');
    const row = (): Vec3 => [
      own.normal(0, sensitivityRadps),
      own.normal(0, sensitivityRadps),
      own.normal(0, sensitivityRadps),
    ];
    this.#sensitivity = [row(), row(), row()];
    for (let i = 0; i < 6; i++) this.#colour[i] = own.normal();
  }

  /** Adds the shake of a loose part before the filter; times must not go back. */
  addRattle(timeS: number, value: Float64Array): void {
    if (!this.#switches.rattle) return;
    const force = Math.hypot(value[0] as number, value[1] as number, value[2] as number);
    const sinceS = timeS - this.#rattleCheckS;
    this.#rattleCheckS = timeS;
    const shock = Math.abs(force - this.#lastForce);
    this.#lastForce = force;
    // Eight ticks a second by themselves, and one at any jump of the force.
    if (shock > 20 || this.#rattle.chance(Math.min(1, 8 * sinceS))) {
      this.#tickS = timeS;
      this.#tickHz = this.#rattle.between(120, 450);
      this.#tickPush = scale(this.#rattle.direction(), this.#rattle.exponential(1.2) + 0.05 * Math.min(shock, 200));
    }
    const age = timeS - this.#tickS;
    if (age > 0.05) return;
    const wave = Math.exp(-age / 0.006) * Math.sin(2 * Math.PI * this.#tickHz * age);
    for (let i = 0; i < 3; i++) value[i] = (value[i] as number) + wave * (this.#tickPush[i] as number);
  }

  /** Replaces true values by what the sensor gives; returns the clip bits of `sampleFlag`. */
  apply(timeS: number, value: Float64Array): number {
    const s = this.#sensor;
    this.#walk(timeS);
    const force: Vec3 = [value[0] as number, value[1] as number, value[2] as number];
    const rate: Vec3 = [value[3] as number, value[4] as number, value[5] as number];
    let clipped = 0;
    for (let i = 0; i < 3; i++) {
      let a = dot(s.accelGain[i] as Vec3, force) + (s.accelBiasMps2[i] as number);
      let w = dot(s.gyroGain[i] as Vec3, rate) + (s.gyroBiasRadps[i] as number);
      if (this.#switches.gyroAccelSensitivity) w += dot(this.#sensitivity[i] as Vec3, force);
      if (this.#switches.biasDrift) {
        a += driftAccelMps2 * (this.#drift[i] as number);
        w += driftGyroRadps * (this.#drift[3 + i] as number);
      }
      if (this.#switches.colouredNoise) {
        a += colouredAccelMps2 * (this.#colour[i] as number);
        w += colouredGyroRadps * (this.#colour[3 + i] as number);
      }
      a += s.accelNoiseMps2 * this.#noise.normal();
      w += s.gyroNoiseRadps * this.#noise.normal();
      a = this.#limit(a, s.accelRangeMps2, s.accelScaleMps2PerLsb);
      w = this.#limit(w, s.gyroRangeRadps, s.gyroScaleRadpsPerLsb);
      if (Math.abs(a) >= rangeEnd(s.accelRangeMps2, s.accelScaleMps2PerLsb, s.quantise))
        clipped |= sampleFlag.accelClipped;
      if (Math.abs(w) >= rangeEnd(s.gyroRangeRadps, s.gyroScaleRadpsPerLsb, s.quantise))
        clipped |= sampleFlag.gyroClipped;
      value[i] = a;
      value[3 + i] = w;
    }
    return clipped;
  }

  #limit(value: number, range: number, scaleLsb: number): number {
    if (!this.#sensor.quantise) return Math.min(range, Math.max(-range, value));
    const end = rawEnd(range, scaleLsb);
    return Math.min(end, Math.max(-end, Math.round(value / scaleLsb))) * scaleLsb;
  }

  #walk(timeS: number): void {
    const dt = timeS - this.#lastS;
    this.#lastS = timeS;
    if (dt <= 0 || !(this.#switches.biasDrift || this.#switches.colouredNoise)) return;
    const keep = Math.exp(-dt / colourTimeS);
    for (let i = 0; i < 6; i++) {
      this.#drift[i] = (this.#drift[i] as number) + Math.sqrt(dt) * this.#slow.normal();
      this.#colour[i] = keep * (this.#colour[i] as number) + Math.sqrt(1 - keep * keep) * this.#slow.normal();
    }
  }
}

/** Largest whole number of the scale within the range and int16. */
export function rawEnd(range: number, scaleLsb: number): number {
  return Math.min(32767, Math.floor((range / scaleLsb) * (1 + 1e-9)));
}

function rangeEnd(range: number, scaleLsb: number, quantise: boolean): number {
  return (quantise ? rawEnd(range, scaleLsb) * scaleLsb : range) * (1 - 1e-12);
}
