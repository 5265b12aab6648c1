/** Peak of the angular rate of a sensor, by the number of its sample in the stream. */
export interface Snap {
  readonly sample: number;
  readonly timeS: number;
  readonly rateRadps: number;
}

/** Plain numbers: storable as JSON and resumable. `sample` −1: no peak is open; `rateRadps` is then the lowest since. */
export interface SnapState {
  sample: number;
  timeS: number;
  rateRadps: number;
}

export function initialSnapState(): SnapState {
  return { sample: -1, timeS: 0, rateRadps: 0 };
}

/** A peak opens when the rate has risen to this multiple of the lowest since the last one. */
const risen = 1.2;
/** It is over when the rate has fallen to this share of it, or after `longestS`. */
const fallen = 0.75;
const longestS = 0.15;

/**
 * Takes the angular rate of one sample; changes `state`.
 *
 * @param leastRadps rates below are no snap.
 * @returns the peak that is over with this sample, or null. Latency: up to 0.15 s.
 */
export function stepSnap(
  state: SnapState,
  sample: number,
  timeS: number,
  rateRadps: number,
  leastRadps: number,
): Snap | null {
  if (state.sample < 0) {
    if (rateRadps >= leastRadps && rateRadps > risen * state.rateRadps) {
      state.sample = sample;
      state.timeS = timeS;
      state.rateRadps = rateRadps;
    } else state.rateRadps = Math.min(state.rateRadps, rateRadps);
    return null;
  }
  if (rateRadps > state.rateRadps) {
    state.sample = sample;
    state.timeS = timeS;
    state.rateRadps = rateRadps;
    return null;
  }
  if (rateRadps > fallen * state.rateRadps && timeS - state.timeS < longestS) return null;
  return closeSnap(state, rateRadps);
}

/** @returns the open peak, or null; changes `state`. */
export function closeSnap(state: SnapState, rateRadps = 0): Snap | null {
  if (state.sample < 0) return null;
  const snap = { ...state };
  state.sample = -1;
  state.rateRadps = rateRadps;
  return snap;
}
