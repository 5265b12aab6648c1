import type { DecodedNotification, NotificationFrame } from '../notification.ts';
import type { SensorDescription } from '../sensor-description.ts';
import type { ConformityEvidence, SeenStart } from './evidence.ts';

export type Outcome = 'pass' | 'fail' | 'not-tested';

export interface ClauseResult {
  /** Stable name. */
  readonly clause: string;
  /** File and section of the document that says it. */
  readonly where: string;
  /** What the clause asks for. */
  readonly says: string;
  readonly outcome: Outcome;
  /** What was seen, or why it could not be. */
  readonly seen: string;
}

/** What a judgement is: an outcome with what was seen. */
export interface Judgement {
  readonly outcome: Outcome;
  readonly seen: string;
}

export interface Clause {
  readonly clause: string;
  readonly where: string;
  readonly says: string;
  readonly judge: (seen: ReadEvidence) => Judgement;
}

/** A start with its notifications decoded. */
export interface ReadStart {
  readonly by: SeenStart['by'];
  readonly decoded: readonly DecodedNotification[];
  readonly frames: readonly NotificationFrame[];
  /** Times of receipt of `frames`. */
  readonly hostTimesS: readonly number[];
}

export interface ReadEvidence extends ConformityEvidence {
  /** The first description, or null where it makes no sense. */
  readonly description: SensorDescription | null;
  readonly descriptionProblem: string;
  readonly reads: readonly ReadStart[];
}

export const passed = (seen: string): Judgement => ({ outcome: 'pass', seen });
export const failed = (seen: string): Judgement => ({ outcome: 'fail', seen });
export const notTested = (seen: string): Judgement => ({ outcome: 'not-tested', seen });
