/** How high the ring is above release: expected before a shot, by settings and the shots before, and read off what the ball met. */
import { norm } from '../../signal/vec3.ts';
import type { BallSettings, ContactKind } from '../shot.ts';
import type { RingExpectation } from './classify.ts';
import type { Impact } from './impact.ts';
import type { RingMemory } from './ring-memory.ts';

/** The ring's height above release with what doubts of it are shared with the height of the contact. */
export interface RingHeight extends RingExpectation {
  /** Read off the contact: an error of the arc moves ring and arc alike. */
  readonly byContact: boolean;
  /** 5 % and 95 % of what is possible, m; null where mean and standard deviation tell it. */
  readonly interval90M: readonly [number, number] | null;
}

export const ringHeightParameters = {
  /** Release heights of 1.9 to 2.5 m at a ring 3.05 m high, in proportion at lower ones; tall players let go higher still. */
  shareOfHoop: 0.28,
  spreadM: 0.25,
  /** The same where the release height was told. */
  toldSpreadM: 0.08,
  /** From shot to shot of whoever uses the ball, and how many shots that is worth. */
  betweenShotsM: 0.16,
  worthShots: 4,
  /** What the sample tells of the contact's height, and how well a rod, a ball and a ring that gives are known, m. */
  contactSpreadM: 0.04,
  leastSpreadM: 0.015,
  /** A height known better than this is remembered, m. */
  rememberedM: 0.06,
  /** One known worse than this tells no angle, m: a ring is near the ball, a board may be anywhere beside it; so many odds may be either. */
  widestM: { ring: 0.2, either: 0.17, board: 0.07 },
  eitherOdds: 0.25,
} as const;

/** The ball's centre where it meets a net, against the ring's height, m. */
const net = {
  /** Iron within the touch: net and ring at once, from within. */
  withIron: { belowM: 0.02, spreadM: 0.045 },
  /** A net that bears the ball; one that pushes it back or hardly brakes it was met from outside or low down, anywhere on it. */
  bearing: { belowM: 0.065, spreadM: 0.055, leastUpward: 0.55, knownMps: 0.35, leastMps: 0.5 },
  /** So many standard deviations from what was expected it was something else. */
  believable: 3,
} as const;

/** @returns the expected height of the ring above release. */
export function expectRing(settings: BallSettings): RingExpectation {
  const p = ringHeightParameters;
  if (settings.releaseHeightM !== null) {
    return { meanM: settings.hoopHeightM - settings.releaseHeightM, standardDeviationM: p.toldSpreadM };
  }
  return { meanM: p.shareOfHoop * settings.hoopHeightM, standardDeviationM: p.spreadM };
}

/**
 * What to expect after the shots seen: a player's release height hardly changes, but several may share a ball. Mean and spread
 * are taken as a normal distribution's, with the settings as a first shot seen less well and a usual spread as some shots'.
 */
export function expectSeenRing(settings: BallSettings, memory: RingMemory): RingExpectation {
  const p = ringHeightParameters;
  const first = expectRing(settings);
  const { count, meanM, squaresM2 } = memory;
  if (count === 0) return first;
  const spread2 = (p.worthShots * p.betweenShotsM ** 2 + squaresM2) / (p.worthShots + count);
  const worth = spread2 / first.standardDeviationM ** 2;
  return {
    meanM: (worth * first.meanM + count * meanM) / (worth + count),
    standardDeviationM: Math.sqrt(spread2 * (1 + 1 / (worth + count))),
  };
}

/** @returns the memory with one more shot's height, where that is known well enough by what the ball met. */
export function rememberRing(memory: RingMemory, height: RingHeight | null): RingMemory {
  if (!height?.byContact || height.standardDeviationM > ringHeightParameters.rememberedM) return memory;
  const count = memory.count + 1;
  const off = height.meanM - memory.meanM;
  const meanM = memory.meanM + off / count;
  return { count, meanM, squaresM2: memory.squaresM2 + off * (height.meanM - meanM) };
}

/**
 * The ring's height by what the ball met and by what was expected.
 *
 * @param at height of the ball's centre above release at the contact, and one sigma of it where its instant was not seen, m.
 * @returns null where it could be anywhere.
 */
export function ringAboveRelease(
  kind: ContactKind,
  impact: Impact,
  at: { readonly heightM: number; readonly doubtM: number },
  expected: RingExpectation,
): RingHeight | null {
  const p = ringHeightParameters;
  if (kind === 'ring' || kind === 'board') {
    const { reading } = impact;
    if (!reading) return null;
    const [meanM, scatterM] = momentsOf(reading.heights);
    const leastM = Math.hypot(p.leastSpreadM, at.doubtM);
    const standardDeviationM = Math.hypot(scatterM, leastM);
    const widestM = p.widestM[kind === 'board' && reading.ring > p.eitherOdds ? 'either' : kind];
    if (standardDeviationM > widestM) return null;
    const low = quantile(reading.heights, 0.05) - leastM;
    const high = quantile(reading.heights, 0.95) + leastM;
    const byContact = reading.ring > 0.5;
    return { meanM, standardDeviationM, byContact, interval90M: scatterM > leastM ? [low, high] : null };
  }
  if (kind !== 'net') return null;
  const { rebound } = impact;
  // A lost packet hides a part of a touch, but not what became of the ball.
  const push = rebound && rebound.standardDeviationMps < net.bearing.knownMps ? rebound.impulseMps : impact.impulseMps;
  const bears = push[2] > net.bearing.leastUpward * norm(push) && norm(push) > net.bearing.leastMps;
  if (!impact.clipped && !bears) return null;
  const { belowM, spreadM } = impact.clipped ? net.withIron : net.bearing;
  const seenM = at.heightM + belowM;
  const ownM = Math.hypot(spreadM, at.doubtM);
  const doubtM = Math.hypot(ownM, p.contactSpreadM);
  const off = seenM - expected.meanM;
  if (Math.abs(off) > net.believable * Math.hypot(Math.max(expected.standardDeviationM, p.betweenShotsM), doubtM)) {
    return null;
  }
  // What was expected knows nothing of the contact's own height, so that one's error counts on this side of the scales.
  const share = expected.standardDeviationM ** 2 / (expected.standardDeviationM ** 2 + doubtM ** 2);
  return {
    meanM: expected.meanM + share * off,
    standardDeviationM: Math.sqrt(share) * ownM,
    byContact: true,
    interval90M: null,
  };
}

type Heights = readonly { readonly ringM: number; readonly weight: number }[];

function momentsOf(heights: Heights): [number, number] {
  let [mean, square] = [0, 0];
  for (const { ringM, weight } of heights) {
    mean += weight * ringM;
    square += weight * ringM * ringM;
  }
  return [mean, Math.sqrt(Math.max(0, square - mean * mean))];
}

/** The height below which a share of the weight lies. */
function quantile(heights: Heights, share: number): number {
  const sorted = heights.toSorted((a, b) => a.ringM - b.ringM);
  let sum = 0;
  for (const { ringM, weight } of sorted) {
    sum += weight;
    if (sum >= share) return ringM;
  }
  return sorted[sorted.length - 1]?.ringM ?? Number.NaN;
}
