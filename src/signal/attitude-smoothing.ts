/**
 * The attitude filter over a finished window, with the future known.
 *
 * Source: Laidig and Seel 2023, Information Fusion 91:187, section 3.7 (their off-line variant). Deviations:
 * 1. The bias is the mean of a run forward and one backward, weighted by their covariances.
 * 2. The force is averaged with weights over both sides at once (normalised convolution) instead of forward and then
 *    backward, so gaps, still moments and the ends of the window need no special cases.
 * 3. Stated errors are those of both runs together.
 *
 * Start-up: none, but near the window's ends only one side is seen. Latency: the whole window. A pure function; there is
 * no stream of it. About three times the work of the filter.
 */
import { standardGravityMps2 } from '../foundation/constants.ts';
import { type ImuBlock, sampleFlag } from '../foundation/imu-block.ts';
import { deriveAttitude, stepAttitude, turnUp } from './attitude.ts';
import { headingVarianceWithoutBias, inclinationSdRad } from './attitude-errors.ts';
import type { AttitudeParams } from './attitude-params.ts';
import {
  type AttitudeCoefficients,
  type GyroBiasPrior,
  type GyroBiasState,
  initialAttitudeState,
} from './attitude-state.ts';
import { type AttitudeTrack, emptyAttitudeTrack } from './attitude-track.ts';
import { combineBiases } from './gyro-bias.ts';
import { identityQuaternion, multiply, type Quaternion, rotate, stepRotation } from './rotation.ts';
import type { Vec3 } from './vec3.ts';

/**
 * @param block the finished window, with a gyroscope.
 * @param params see attitude-params.ts.
 * @param bias what is known of the gyroscope's bias from outside the window; null for nothing.
 * @returns one row a sample; heading is zero at the window's first sample and its error counts from there.
 * @throws SeamwiseError for parameters outside their range; RangeError when the block has no gyroscope.
 */
export function smoothAttitude(
  block: ImuBlock,
  params: Partial<AttitudeParams> = {},
  bias: GyroBiasPrior | null = null,
): AttitudeTrack {
  const coefficients = deriveAttitude(params);
  const forward = runOver(coefficients, block, bias);
  const turnedPrior =
    bias === null
      ? null
      : { ...bias, biasRadps: [-bias.biasRadps[0], -bias.biasRadps[1], -bias.biasRadps[2]] as const };
  const backward = runOver(coefficients, reversed(block), turnedPrior);
  const track = emptyAttitudeTrack(block.length);
  track.timeS.set(block.timeS.subarray(0, block.length));
  combine(coefficients, forward, backward, track);
  orient(coefficients, block, forward, backward, track);
  return track;
}

/** What one run of the filter leaves for the smoothing, per sample. */
interface Run {
  readonly bias: Float64Array;
  /** Six entries of the bias covariance. */
  readonly covariance: Float64Array;
  readonly inclinationSd: Float64Array;
  readonly kept: Float64Array;
  /** Heading variance but for the bias, rad². */
  readonly headingVariance: Float64Array;
  readonly sampleS: Float64Array;
  readonly atRest: Uint8Array;
}

function runOver(coefficients: AttitudeCoefficients, block: ImuBlock, prior: GyroBiasPrior | null): Run {
  const n = block.length;
  const state = initialAttitudeState(coefficients, prior);
  const run: Run = {
    bias: new Float64Array(3 * n),
    covariance: new Float64Array(6 * n),
    inclinationSd: new Float64Array(n),
    kept: new Float64Array(n),
    headingVariance: new Float64Array(n),
    sampleS: new Float64Array(n),
    atRest: new Uint8Array(n),
  };
  for (let i = 0; i < n; i++) {
    stepAttitude(coefficients, state, block, i);
    run.bias.set(state.bias.biasRadps, 3 * i);
    run.covariance.set(state.bias.covariance, 6 * i);
    run.inclinationSd[i] = inclinationSdRad(state);
    run.kept[i] = state.kept;
    run.headingVariance[i] = headingVarianceWithoutBias(coefficients.params, state);
    run.sampleS[i] = state.sampleS;
    run.atRest[i] = state.atRest ? 1 : 0;
  }
  return run;
}

/** The window with time running backward: rates change their sign, a gap lies before the sample that came first. */
function reversed(block: ImuBlock): ImuBlock {
  const n = block.length;
  const { gyroRadps } = block;
  if (gyroRadps === null) throw new RangeError('attitude needs a gyroscope: this block has none');
  const out = {
    length: n,
    timeS: new Float64Array(n),
    accelMps2: new Float64Array(3 * n),
    gyroRadps: new Float64Array(3 * n),
    flags: new Uint8Array(n),
  };
  for (let i = 0; i < n; i++) {
    const from = n - 1 - i;
    out.timeS[i] = -block.timeS[from]!;
    for (let k = 0; k < 3; k++) {
      out.accelMps2[3 * i + k] = block.accelMps2[3 * from + k]!;
      out.gyroRadps[3 * i + k] = -gyroRadps[3 * from + k]!;
    }
    const clipped = block.flags[from]! & ~sampleFlag.gapBefore;
    const gap = from + 1 < n ? block.flags[from + 1]! & sampleFlag.gapBefore : 0;
    out.flags[i] = clipped | gap;
  }
  return out;
}

/** Bias, rest and the errors that both runs together leave. */
function combine(coefficients: AttitudeCoefficients, forward: Run, backward: Run, track: AttitudeTrack): void {
  const n = track.length;
  const { accelBiasMps2 } = coefficients.params;
  const offset = (accelBiasMps2 / standardGravityMps2) ** 2;
  const ahead: GyroBiasState = { biasRadps: [], covariance: [] };
  const behind: GyroBiasState = { biasRadps: [], covariance: [] };
  const both: GyroBiasState = { biasRadps: [], covariance: [] };
  for (let i = 0; i < n; i++) {
    const j = n - 1 - i;
    readBias(forward, i, 1, ahead);
    readBias(backward, j, -1, behind);
    combineBiases(ahead, behind, both);
    track.gyroBiasRadps.set(both.biasRadps, 3 * i);
    track.atRest[i] = forward.atRest[i]! | backward.atRest[j]!;
    const before = Math.max(forward.inclinationSd[i]! ** 2 - offset, 1e-12);
    const after = Math.max(backward.inclinationSd[j]! ** 2 - offset, 1e-12);
    track.inclinationSdRad[i] = Math.sqrt(offset + 1 / (1 / before + 1 / after));
    // Mean over directions of the bias error; its sum is the drift since the window's start.
    const [xx, , , yy, , zz] = both.covariance;
    const drift = Math.sqrt((xx! + yy! + zz!) / 3);
    track.headingSdRad[i] = drift;
  }
  let driftRad = 0;
  for (let i = 0; i < n; i++) {
    const stepS = i === 0 ? 0 : track.timeS[i]! - track.timeS[i - 1]!;
    driftRad += track.headingSdRad[i]! * stepS;
    const variance = driftRad * driftRad + forward.headingVariance[i]!;
    track.headingSdRad[i] = Math.sqrt(Math.min(variance, Math.PI ** 2 / 3));
  }
}

function readBias(run: Run, i: number, sign: 1 | -1, into: GyroBiasState): void {
  for (let k = 0; k < 3; k++) into.biasRadps[k] = sign * run.bias[3 * i + k]!;
  for (let k = 0; k < 6; k++) into.covariance[k] = run.covariance[6 * i + k]!;
}

/** Carries the frame by the corrected rates, averages the force in it from both sides and sets it upright. */
function orient(
  coefficients: AttitudeCoefficients,
  block: ImuBlock,
  forward: Run,
  backward: Run,
  track: AttitudeTrack,
): void {
  const n = block.length;
  const carried = new Float64Array(4 * n);
  const gyro = block.gyroRadps as Float64Array;
  const weighted = new Float64Array(4 * n);
  let q: Quaternion = identityQuaternion;
  let before: Vec3 = [0, 0, 0];
  for (let i = 0; i < n; i++) {
    const at = 3 * i;
    const b = track.gyroBiasRadps;
    const rate: Vec3 = [gyro[at]! - b[at]!, gyro[at + 1]! - b[at + 1]!, gyro[at + 2]! - b[at + 2]!];
    if (i > 0) q = multiply(q, stepRotation(before, rate, block.timeS[i]! - block.timeS[i - 1]!));
    before = rate;
    carried.set(q, 4 * i);
    const weight = track.atRest[i] === 1 ? coefficients.params.restWeight : 1;
    const a = block.accelMps2;
    const force = rotate(q, [a[at]!, a[at + 1]!, a[at + 2]!]);
    weighted[4 * i] = weight;
    for (let k = 0; k < 3; k++) weighted[4 * i + 1 + k] = weight * force[k]!;
  }
  const averaged = new Float64Array(4 * n);
  averageOneWay(coefficients.stageTimeS, block.timeS, forward, forward.sampleS, weighted, averaged, 1);
  averageOneWay(coefficients.stageTimeS, block.timeS, backward, forward.sampleS, weighted, averaged, -1);
  let carriedToWorld: Quaternion = identityQuaternion;
  for (let i = 0; i < n; i++) {
    const up = rotate(carriedToWorld, [averaged[4 * i + 1]!, averaged[4 * i + 2]!, averaged[4 * i + 3]!]);
    const length = Math.hypot(up[0], up[1], up[2]);
    if (length > 0) {
      carriedToWorld = multiply(turnUp(up[0] / length, up[1] / length, up[2] / length), carriedToWorld);
    }
    const [w, x, y, z] = multiply(carriedToWorld, carried.subarray(4 * i, 4 * i + 4) as unknown as Quaternion);
    const scale = 1 / Math.sqrt(w * w + x * x + y * y + z * z);
    track.sensorToWorld.set([w * scale, x * scale, y * scale, z * scale], 4 * i);
  }
}

/**
 * Adds the average of what lies before (way 1) or after (way -1) each sample: two equal first-order stages over the
 * columns weight and weighted force. Both ways added make a kernel that is even in time.
 */
function averageOneWay(
  stageTimeS: number,
  timeS: Float64Array,
  run: Run,
  sampleS: Float64Array,
  columns: Float64Array,
  sums: Float64Array,
  way: 1 | -1,
): void {
  const n = timeS.length;
  const first = [0, 0, 0, 0];
  const second = [0, 0, 0, 0];
  for (let step = 0; step < n; step++) {
    const i = way === 1 ? step : n - 1 - step;
    // `run` went the same way, so its row of this step says what the memory lost on the way here.
    const keep = run.kept[step]!;
    const lengthS = sampleS[i]!;
    const spanS = step === 0 ? lengthS : Math.abs(timeS[i]! - timeS[i - way]!);
    const fade = spanS > lengthS ? Math.exp((lengthS - spanS) / stageTimeS) : 1;
    const through = -fade * Math.log(fade);
    const share = 1 - Math.exp(-lengthS / stageTimeS);
    for (let k = 0; k < 4; k++) {
      second[k] = keep * (fade * second[k]! + through * first[k]!);
      first[k] = keep * fade * first[k]!;
      first[k] = first[k]! + share * (columns[4 * i + k]! - first[k]!);
      second[k] = second[k]! + share * (first[k]! - second[k]!);
      sums[4 * i + k] = sums[4 * i + k]! + second[k]!;
    }
  }
}
