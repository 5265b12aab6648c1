import { type MergeFlag, mergeFlags } from '../../shots/merge/merge-shots.ts';
import type { AnalysedShot } from '../analyze/analysis-schema.ts';
import type { TextColumn } from './text-width.ts';

/** Who saw a shot, in words. */
export function seenByColumn(shots: readonly AnalysedShot[]): TextColumn {
  return {
    title: 'seen by',
    cells: shots.map(({ ball, wrist }) => (ball && wrist ? 'ball and arm' : ball ? 'ball' : 'arm')),
  };
}

/**
 * @param titleOf what a measure is called in the table; null for one that is not in it.
 * @returns sentences: which sensor each measure came from, and where the two differ.
 */
export function sourceNotes(
  shots: readonly AnalysedShot[],
  titleOf: (name: keyof AnalysedShot['measures']) => string | null,
): string[] {
  const groups = new Map<string, string[]>();
  for (const name of Object.keys(shots[0]?.measures ?? {}) as (keyof AnalysedShot['measures'])[]) {
    const title = titleOf(name);
    const sources = new Map<string, number[]>();
    shots.forEach((shot, k) => {
      const { [name]: measure } = shot.measures;
      if (measure.value === null) return;
      const source = measure.source ?? 'ball';
      sources.set(source, [...(sources.get(source) ?? []), k + 1]);
    });
    if (title === null || sources.size === 0) continue;
    const key = [...sources]
      .map(([source, numbers]) => (sources.size === 1 ? words(source) : `${words(source)} in ${numbered(numbers)}`))
      .join(', ');
    groups.set(key, [...(groups.get(key) ?? []), title]);
  }
  const notes = [...groups].map(([key, titles]) => `Measured ${key}: ${titles.join(', ')}.`);
  shots.forEach(({ flags = [] }, k) => {
    for (const flag of flags) notes.push(`Shot ${k + 1}: ${mergeFlags[flag as MergeFlag]}.`);
  });
  return notes;
}

function words(source: string): string {
  if (source === 'model') return 'by a model from the arm';
  return source === 'wrist' ? 'by the sensor on the arm' : 'by the sensor in the ball';
}

function numbered(shots: readonly number[]): string {
  return `${shots.length === 1 ? 'shot' : 'shots'} ${shots.join(' ')}`;
}
