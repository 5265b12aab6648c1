import { type ErrorCode, SeamwiseError } from '../foundation/errors.ts';

export type UnreadableCode = Extract<ErrorCode, `recording-${string}`>;

export interface UnreadableParts {
  /** File, and line or byte where that is known. */
  readonly where: string;
  readonly expected: string;
  readonly came: string;
  /** What the person can do about it, as a sentence. */
  readonly remedy: string;
}

/** Thrown when nothing can be read from a recording; the message names place, expectation, finding and remedy. */
export class UnreadableRecordingError extends SeamwiseError {
  constructor(code: UnreadableCode, { where, expected, came, remedy }: UnreadableParts) {
    super(code, `${where}: expected ${expected}; came ${came}. ${remedy}`);
    this.name = 'UnreadableRecordingError';
  }
}

/** What a reader noticed that does not stop it: a stable code and a sentence for a person. */
export interface RecordingWarning {
  readonly code: string;
  readonly message: string;
}
