import { type DrillVerdict, judgeDrill, type ProofBlock, type ProofQuestion } from './drill-proof.ts';
import type { proofParams } from './proof-params.ts';

export interface RetentionResult {
  readonly state: 'kept' | 'lost' | 'not-enough' | 'not-due';
  /** Days between the last drill and the first retention block, null before both. */
  readonly daysWithout: number | null;
  /** Retention against the baseline, judged as a re-test is. */
  readonly verdict: DrillVerdict | null;
}

/** Days without the drill before a block may test what was kept. */
const leastDaysWithout = 5;

/**
 * Whether a change is still there days after the last drill: retention days against the same baseline, by the same rules as
 * the re-test and with an error rate of its own. `lost` needs the level to be back within the smallest change that matters.
 */
export function judgeRetention(
  question: ProofQuestion,
  blocks: readonly ProofBlock[],
  given: { readonly [Name in keyof typeof proofParams]?: number } = {},
): RetentionResult {
  const lastDrill = blocks.findLast(({ role }) => role === 'drill')?.day;
  const due = blocks.filter(
    ({ role, day }) => role !== 'retention' || (lastDrill !== undefined && day >= lastDrill + leastDaysWithout),
  );
  const first = due.find(({ role }) => role === 'retention')?.day;
  if (lastDrill === undefined || first === undefined) {
    return Object.freeze({ state: 'not-due', daysWithout: null, verdict: null });
  }
  const verdict = judgeDrill(question, due, given, 'retention');
  const state = verdict.verdict === 'changed' ? 'kept' : verdict.verdict === 'not-enough' ? 'not-enough' : 'lost';
  return Object.freeze({ state, daysWithout: first - lastDrill, verdict });
}
