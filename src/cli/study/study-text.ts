import type { StudyResultAnswer } from '../../server/coaching/answer-types.ts';
import { layOutTable, wrapText } from '../table/text-width.ts';

/** A study as text: sentences first, tables, what it cannot answer, then how it was reckoned. */
export function studyText(result: Omit<StudyResultAnswer, 'studyId'>, width: number): string {
  const { sentences, makes, comparisons, cannotAnswer, methods } = result;
  const lines = sentences.flatMap((sentence) => wrapText(sentence, width, '  '));
  if (makes.length > 0) {
    lines.push('', 'Makes');
    const column = (title: string, of: (row: (typeof makes)[number]) => string) => ({ title, cells: makes.map(of) });
    lines.push(
      ...layOutTable(
        column('condition', ({ condition }) => condition),
        [
          column('sets', ({ sets }) => String(sets)),
          column('made', (row) => `${row.makes} of ${row.attempts}`),
          column('share', (row) => percent(row.makes / row.attempts)),
          column('score 95 %', ({ score95 }) => `${percent(score95[0])} to ${percent(score95[1])}`),
          column('exact 95 %', ({ exact95 }) => `${percent(exact95[0])} to ${percent(exact95[1])}`),
        ],
        width,
      ),
    );
  }
  if (comparisons.length > 0) {
    lines.push('', 'Comparisons, one less two');
    const column = (title: string, of: (row: (typeof comparisons)[number]) => string) => ({
      title,
      cells: comparisons.map(of),
    });
    lines.push(
      ...layOutTable(
        column('quantity', ({ quantity, one, two }) => `${quantity}: ${one}, ${two}`),
        [
          column('days', ({ units, design }) => `${units} ${design === 'within-days' ? 'paired' : 'unpaired'}`),
          column('difference', ({ difference }) => plain(difference)),
          column('95 %', ({ interval95 }) =>
            interval95 === null ? '-' : `${plain(interval95[0])} to ${plain(interval95[1])}`,
          ),
          column('p', ({ p }) => plain(p)),
          column('p adjusted', ({ adjustedP }) => plain(adjustedP)),
          column('same within', ({ sameWithin }) => plain(sameWithin)),
          column('answer', ({ answer }) => answer),
        ],
        width,
      ),
    );
  }
  if (cannotAnswer.length > 0) {
    lines.push('', 'What this study cannot answer');
    for (const sentence of cannotAnswer) lines.push(...wrapText(`- ${sentence}`, width, '  '));
  }
  lines.push('', 'How it was reckoned');
  for (const sentence of methods) lines.push(...wrapText(`- ${sentence}`, width, '  '));
  return `${lines.join('\n')}\n`;
}

function plain(value: number | null): string {
  if (value === null) return '-';
  return String(Number(value.toPrecision(3))).replace('-', '−');
}

function percent(share: number): string {
  return `${(100 * share).toFixed(1)} %`;
}
