import { resolveParams } from '../foundation/parameters.ts';
import { furtherDaysFor, judgeDrill, type ProofBlock, type ProofQuestion } from './drill-proof.ts';
import { proofParams } from './proof-params.ts';

/** Practices a week that a plan counts with; the load of the player goes before it. */
const practicesAWeek = 2;

/** What would settle an open verdict, as a plan in weeks, and who may be told it. */
export interface ProofPlan {
  /** Players under fourteen are never asked for more shots: the plan goes to the coach. */
  readonly audience: 'coach' | 'coach-and-player';
  readonly weeks: number | null;
  readonly sentence: string;
  readonly caution: string;
}

const caution =
  'Never more shots today: days settle this, not shots. Rest days and the limits for the age go first; pain means stop.';

/** @param ageYears null where nobody told it: then the plan goes to the coach alone. */
export function planFor(
  question: ProofQuestion,
  blocks: readonly ProofBlock[],
  ageYears: number | null,
  given: { readonly [Name in keyof typeof proofParams]?: number } = {},
): ProofPlan {
  const { baselineDays, retestDays } = resolveParams(proofParams, given);
  const verdict = judgeDrill(question, blocks, given);
  const audience = ageYears !== null && ageYears >= 14 ? 'coach-and-player' : 'coach';
  const make = (weeks: number | null, sentence: string): ProofPlan =>
    Object.freeze({ audience, weeks, sentence, caution });
  if (verdict.verdict !== 'not-enough') {
    return make(0, 'The question is settled. A test some days later shows whether it lasts.');
  }
  if (verdict.baselineDays < baselineDays) {
    const days = baselineDays - verdict.baselineDays;
    const sentence = verdict.notes.includes('baseline-too-few')
      ? 'The drill began before the level was known: this proof cannot be settled, and a new one starts with a new baseline.'
      : `The level before the drill is not known yet: ${practices(days)} with a block each.`;
    return make(verdict.notes.includes('baseline-too-few') ? null : weeksOf(days), sentence);
  }
  if (verdict.change === null) {
    const days = retestDays - verdict.retestDays;
    return make(weeksOf(days), `After the drill, re-test: ${practices(days)} with a block each.`);
  }
  const days = furtherDaysFor(question, blocks, given);
  if (days === null) {
    return make(
      null,
      'As it stands, the looks that are left would not tell: the change is too near to the smallest that matters, for how much this player varies from day to day. Ask for a larger change, or leave the question.',
    );
  }
  return make(weeksOf(days), `About ${practices(days)} with a block each would tell, if the days go on as they did.`);
}

function practices(days: number): string {
  return days === 1 ? 'one more practice' : `${days} more practices`;
}

function weeksOf(days: number): number {
  return Math.ceil(days / practicesAWeek);
}
