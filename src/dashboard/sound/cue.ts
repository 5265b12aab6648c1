import type { WireShot } from '../../server/wire/shot-document.ts';
import type { BandPlace } from '../own-band.ts';

/** A tone that tells two numbers: its pitch the spin, its length the quickness. */
export interface ToneCue {
  readonly pitchHz: number;
  readonly lengthS: number;
}

/** Pitch of a ball that spins 2 times a second; an octave for twice the spin. */
const pitchAt2Rps = 440;
const pitchRange = [220, 1320] as const;
const lengthRange = [0.12, 1.2] as const;

/**
 * @returns the tone of a shot: twice the spin sounds an octave higher, and it lasts as long as pickup to release took.
 * Null where the spin is not known; a length that is not known is the middle one.
 */
export function toneOf({ measures }: WireShot): ToneCue | null {
  const spinRps = measures.spinRps.value;
  if (spinRps === null || spinRps <= 0) return null;
  const pitchHz = within((pitchAt2Rps * spinRps) / 2, pitchRange);
  return { pitchHz, lengthS: within(measures.pickupToReleaseS.value ?? 0.5, lengthRange) };
}

/** Lengths of trembles and rests, milliseconds, for a device that can: the twin of the tone. */
export function trembleOf(place: BandPlace | null): readonly number[] {
  if (place === 'above') return [60, 60, 60];
  if (place === 'below') return [220];
  return place === 'inside' ? [60] : [];
}

function within(value: number, [low, high]: readonly [number, number]): number {
  return Math.min(high, Math.max(low, value));
}
