/**
 * Every code of a thrown error, with what it means. A code is never reused for anything else; each has its test.
 * Bad data from a sensor is not thrown: it is an event or a value with a reason.
 */
export const errorCodes = {
  'parameter-unknown': 'a parameter was given that the algorithm does not have',
  'parameter-outside': 'a parameter is outside its range or not a number',
  'notification-field': 'a value cannot be written into a notification',
  'description-field': 'a value cannot be written into a sensor description',
  'description-length': 'a sensor description is shorter than it has to be, or its length field disagrees with it',
  'description-version': 'a sensor description has a version that this program does not know',
  'description-reserved': 'a reserved field of a sensor description is not zero',
  'description-value': 'a field of a sensor description has a value that it cannot have',
  'description-checksum': 'a sensor description was damaged on its way',
  'frame-axes': 'frames and sensor description disagree about the axes',
} as const;

export type ErrorCode = keyof typeof errorCodes;

/** A thrown error with a stable code. The message says what was expected, what came, where, and what to do. */
export class SeamwiseError extends Error {
  readonly code: ErrorCode;

  constructor(code: ErrorCode, message: string) {
    super(message);
    this.name = 'SeamwiseError';
    this.code = code;
  }
}
