/** There is no Bluetooth here; the message is one sentence what is wrong and one what to do. Ends with exit code 3. */
export class NoBluetoothError extends Error {
  readonly detail: string;
  readonly remedy: string;

  constructor(detail: string, remedy: string) {
    super(`${detail} ${remedy}`);
    this.name = 'NoBluetoothError';
    this.detail = detail;
    this.remedy = remedy;
  }
}
