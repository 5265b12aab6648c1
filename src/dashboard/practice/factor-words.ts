import type { WireFactor } from '../../server/wire/practice-document.ts';

/**
 * Reads conditions as a coach types them: `footwork = hop, dip = none`.
 *
 * @returns the conditions, or the part that cannot be read.
 */
export function readFactors(text: string): { readonly factors: readonly WireFactor[] } | { readonly odd: string } {
  const factors: WireFactor[] = [];
  for (const part of text.split(',')) {
    if (part.trim() === '') continue;
    const at = part.indexOf('=');
    const factor = part.slice(0, at).trim();
    const level = part.slice(at + 1).trim();
    if (at < 0 || factor === '' || level === '' || factor.length > 60 || level.length > 60) return { odd: part.trim() };
    if (factors.some((known) => known.factor === factor)) return { odd: part.trim() };
    factors.push({ factor, level });
  }
  return { factors };
}

export function writeFactors(factors: readonly WireFactor[]): string {
  return factors.map(({ factor, level }) => `${factor} = ${level}`).join(', ');
}
