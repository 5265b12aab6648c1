/** Where a program says what it does. Fields first, sentence second; a `pino` logger fits as it is. */
export interface Logger {
  info(fields: object, message: string): void;
  warn(fields: object, message: string): void;
  error(fields: object, message: string): void;
}

/** Says nothing. */
export const silentLogger: Logger = Object.freeze({ info() {}, warn() {}, error() {} });
