/** Revolutions of a ball counted on slow-motion video. */
export interface CountedSpin {
  readonly revolutions: number;
  /** Frames from the first to the last instant of the count. */
  readonly frames: number;
  readonly frameRateHz: number;
  /** Standard error of the count in revolutions; by default an eighth, as when quarters are told apart. */
  readonly revolutionsSd?: number;
}

/** Why a count gives no spin. */
export const countRefusals = {
  'revolutions-not-positive': 'expected more than 0 revolutions',
  'frames-too-few': 'expected at least 3 whole frames from the first to the last',
  'frame-rate-outside':
    'expected a frame rate of 20 to 10,000 frames a second, as the video was taken, not as it is played',
  aliased: 'the ball turns too far from frame to frame to be counted: use a higher frame rate',
} as const;
export type CountRefusal = keyof typeof countRefusals;

export type CountedSpinOutcome =
  | { readonly kind: 'spin'; readonly spinRps: number; readonly spinSdRps: number }
  | { readonly kind: 'refused'; readonly reason: CountRefusal; readonly evidence: string };

/**
 * Spin from a count, with the error of counting and of the frames at both ends.
 *
 * Each end is known to one frame, an even distribution: variance 1/12 of a frame each (JCGM 100:2008, 4.3.7).
 *
 * @returns revolutions a second with their standard error, or why there are none.
 */
export function estimateCountedSpin(count: CountedSpin): CountedSpinOutcome {
  const { revolutions, frames, frameRateHz, revolutionsSd = 0.125 } = count;
  const refused = (reason: CountRefusal, evidence: string): CountedSpinOutcome => ({
    kind: 'refused',
    reason,
    evidence: `${countRefusals[reason]} (${evidence})`,
  });
  if (!(revolutions > 0 && Number.isFinite(revolutions))) {
    return refused('revolutions-not-positive', `revolutions ${revolutions}`);
  }
  if (!(Number.isInteger(frames) && frames >= 3)) return refused('frames-too-few', `frames ${frames}`);
  if (!(frameRateHz >= 20 && frameRateHz <= 10_000)) {
    return refused('frame-rate-outside', `frame rate ${frameRateHz} Hz`);
  }
  const perFrame = revolutions / frames;
  // A seam pattern looks the same after a part of a turn, so well below the half turn of a single mark.
  if (!(perFrame <= 0.25)) return refused('aliased', `${perFrame.toFixed(2)} revolutions a frame, at most 0.25`);
  const spinRps = (revolutions * frameRateHz) / frames;
  const share = Math.hypot(revolutionsSd / revolutions, Math.sqrt(1 / 6) / frames);
  return { kind: 'spin', spinRps, spinSdRps: spinRps * share };
}
