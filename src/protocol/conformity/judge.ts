/**
 * Whether a sensor speaks this protocol, clause by clause. Each clause is judged by what it says alone: a sensor that breaks one
 * fails there and nowhere else, as far as the others can still be seen.
 */
import { decodeNotification, type NotificationFrame } from '../notification.ts';
import { decodeSensorDescription, type SensorDescription } from '../sensor-description.ts';
import type { Clause, ClauseResult, ReadEvidence, ReadStart } from './clause.ts';
import { controlClauses } from './control-clauses.ts';
import type { ConformityEvidence } from './evidence.ts';
import { gattClauses } from './gatt-clauses.ts';
import { streamClauses } from './stream-clauses.ts';

export const clauses: readonly Clause[] = [...gattClauses, ...streamClauses, ...controlClauses];

/** @returns a result for every clause, in the order of the documents. */
export function judgeConformity(evidence: ConformityEvidence): readonly ClauseResult[] {
  const read = readEvidence(evidence);
  return clauses.map(({ clause, where, says, judge }) => Object.freeze({ clause, where, says, ...judge(read) }));
}

function readEvidence(evidence: ConformityEvidence): ReadEvidence {
  let description: SensorDescription | null = null;
  let descriptionProblem = 'it could not be read';
  const bytes = evidence.descriptions[0];
  if (bytes) {
    try {
      description = decodeSensorDescription(bytes);
    } catch (error) {
      descriptionProblem = error instanceof Error ? error.message : String(error);
    }
  }
  const reads = evidence.starts.map(({ by, notifications }): ReadStart => {
    const decoded = notifications.map((seen) => decodeNotification(seen.bytes));
    const frames: NotificationFrame[] = [];
    const hostTimesS: number[] = [];
    for (const [at, each] of decoded.entries()) {
      if (each.kind !== 'frame') continue;
      frames.push(each.frame);
      hostTimesS.push(notifications[at]!.hostTimeS);
    }
    return { by, decoded, frames, hostTimesS };
  });
  return { ...evidence, description, descriptionProblem, reads };
}
