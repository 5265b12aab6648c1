/** A sensor was reached and something is wrong with it; what it is was printed. Ends with exit code 4. */
export class WrongSensorError extends Error {
  constructor(message: string) {
    super(message);
    this.name = 'WrongSensorError';
  }
}
