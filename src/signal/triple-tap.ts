import { type ImuBlock, sampleFlag } from '../foundation/imu-block.ts';
import { resolveParams } from '../foundation/parameters.ts';
import { type TripleTapParams, tripleTapParams } from './triple-tap-params.ts';

/**
 * Finds three taps on a sensor that is held or lies still: three short blows in an even beat, with quiet before, between and
 * after them. Play has none of that: between dribbles a ball flies and turns, and a hand that claps or catches moves.
 *
 * Start-up: none before `stillAroundS` of quiet. Latency: `stillAroundS` after the third tap.
 */
export interface TripleTap {
  /** Instants of the three taps on the recording's clock, the sensor's filter not taken out. */
  readonly tapsS: readonly [number, number, number];
  /** Standard error of each against that clock: somewhere within a sample. */
  readonly standardErrorS: number;
}

/** What is remembered: plain numbers, storable as JSON. */
export interface TripleTapState {
  /** Specific force of the still sensor, m/s²; null before the first sample. */
  mean: [number, number, number] | null;
  lastS: number;
  stepS: number;
  /** Since when it is quiet; null while it is not. */
  quietSinceS: number | null;
  /** Since when it was quiet before the blow that is looked at. */
  quietBeforeS: number | null;
  /** A blow that is looked at. */
  blow: { startS: number; lastLoudS: number; peakMps2: number; weight: number; moment: number } | null;
  /** True from a movement until it has been quiet. */
  moving: boolean;
  taps: number[];
}

export function initialTripleTap(): TripleTapState {
  return {
    mean: null,
    lastS: 0,
    stepS: 0,
    quietSinceS: null,
    quietBeforeS: null,
    blow: null,
    moving: false,
    taps: [],
  };
}

/** Takes sample `index` of a block; changes `state`. @returns the taps when these were the last that was needed to be sure. */
export function stepTripleTap(
  params: TripleTapParams,
  state: TripleTapState,
  block: ImuBlock,
  index: number,
): TripleTap | null {
  const timeS = block.timeS[index] as number;
  const x = block.accelMps2[3 * index] as number;
  const y = block.accelMps2[3 * index + 1] as number;
  const z = block.accelMps2[3 * index + 2] as number;
  if (((block.flags[index] as number) & sampleFlag.gapBefore) !== 0) Object.assign(state, initialTripleTap());
  const mean = state.mean;
  if (mean === null) {
    state.mean = [x, y, z];
    state.lastS = timeS;
    return null;
  }
  const stepS = timeS - state.lastS;
  state.lastS = timeS;
  state.stepS = stepS;
  const deviation = Math.hypot(x - mean[0], y - mean[1], z - mean[2]);
  const isLoud = deviation >= params.quietMps2 || rateOf(block, index) >= params.quietRadps;
  // A blow must not take the mean along; a movement has to, or the sensor would never be quiet again.
  if (!isLoud || state.moving) {
    const share = 1 - Math.exp(-stepS / params.meanTimeS);
    mean[0] += share * (x - mean[0]);
    mean[1] += share * (y - mean[1]);
    mean[2] += share * (z - mean[2]);
  }
  if (isLoud) {
    takeLoud(params, state, timeS, deviation);
    return null;
  }
  if (state.blow !== null) {
    if (timeS - state.blow.lastLoudS < params.settleS) return null;
    endBlow(params, state);
  }
  state.quietSinceS ??= timeS;
  state.moving = false;
  const [first, second, third] = state.taps;
  if (third === undefined || timeS - third < params.stillAroundS) return null;
  state.taps = [];
  return { tapsS: [first as number, second as number, third], standardErrorS: stepS / Math.sqrt(12) };
}

function takeLoud(params: TripleTapParams, state: TripleTapState, timeS: number, deviation: number): void {
  if (state.moving) {
    state.quietSinceS = null;
    return;
  }
  if (state.blow === null) {
    state.quietBeforeS = state.quietSinceS;
    state.blow = { startS: timeS, lastLoudS: timeS, peakMps2: 0, weight: 0, moment: 0 };
  }
  const { blow } = state;
  blow.lastLoudS = timeS;
  blow.peakMps2 = Math.max(blow.peakMps2, deviation);
  blow.weight += deviation;
  blow.moment += deviation * (timeS - blow.startS);
  state.quietSinceS = null;
  if (timeS - blow.startS > params.tapLongestS) {
    state.blow = null;
    state.taps = [];
    state.moving = true;
  }
}

function endBlow(params: TripleTapParams, state: TripleTapState): void {
  const blow = state.blow as NonNullable<TripleTapState['blow']>;
  state.blow = null;
  const { taps, quietBeforeS } = state;
  if (blow.peakMps2 < params.tapMps2) {
    state.taps = [];
    return;
  }
  const tapS = blow.startS + (blow.weight > 0 ? blow.moment / blow.weight : 0);
  const isFirst = quietBeforeS !== null && blow.startS - quietBeforeS >= params.stillAroundS;
  const isNext = taps.length > 0 && taps.length < 3 && isInBeat(params, taps, tapS);
  if (isNext) taps.push(tapS);
  else state.taps = isFirst ? [tapS] : [];
}

function isInBeat(params: TripleTapParams, taps: readonly number[], tapS: number): boolean {
  const betweenS = tapS - (taps.at(-1) as number);
  if (betweenS < params.betweenLeastS || betweenS > params.betweenMostS) return false;
  const [first, second] = taps;
  if (first === undefined || second === undefined) return true;
  const ratio = betweenS / (second - first);
  return ratio <= params.unevenMost && ratio >= 1 / params.unevenMost;
}

function rateOf({ gyroRadps }: ImuBlock, index: number): number {
  if (gyroRadps === null) return 0;
  return Math.hypot(
    gyroRadps[3 * index] as number,
    gyroRadps[3 * index + 1] as number,
    gyroRadps[3 * index + 2] as number,
  );
}

/** Finds three taps in a stream, block by block. */
export class TripleTapStream {
  readonly #params: TripleTapParams;
  readonly #state: TripleTapState;

  constructor(params: Partial<TripleTapParams> = {}, state: TripleTapState | null = null) {
    this.#params = resolveParams(tripleTapParams, params);
    this.#state = state ?? initialTripleTap();
  }

  push(block: ImuBlock): TripleTap[] {
    const found: TripleTap[] = [];
    for (let index = 0; index < block.length; index++) {
      const taps = stepTripleTap(this.#params, this.#state, block, index);
      if (taps) found.push(taps);
    }
    return found;
  }

  state(): TripleTapState {
    return structuredClone(this.#state);
  }
}
