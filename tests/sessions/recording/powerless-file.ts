import { writeFileSync } from 'node:fs';
import type { DurableFile, OpenDurableFile } from '../../../src/sessions/recording/durable-file.ts';

/** A file in memory that knows what of it would outlive a loss of power. */
export class PowerlessFile implements DurableFile {
  #written = Buffer.alloc(0);
  #synced = Buffer.alloc(0);
  /** Error that every write gives, such as that of a full disk; null writes. */
  failure: Error | null = null;
  /** Bytes that fit; a write beyond them is cut short and fails. */
  capacityBytes = Number.POSITIVE_INFINITY;
  syncCount = 0;

  readonly open: OpenDurableFile = async () => this;

  async write(bytes: Uint8Array, at: number): Promise<void> {
    if (this.failure) throw this.failure;
    const fits = Math.max(0, Math.min(bytes.length, this.capacityBytes - at));
    const longer = Buffer.alloc(Math.max(this.#written.length, at + fits));
    this.#written.copy(longer);
    longer.set(bytes.subarray(0, fits), at);
    this.#written = longer;
    if (fits < bytes.length) throw Object.assign(new Error('ENOSPC: no space left on device'), { code: 'ENOSPC' });
  }

  async sync(): Promise<void> {
    if (this.failure) throw this.failure;
    this.syncCount += 1;
    this.#synced = Buffer.from(this.#written);
  }

  async close(): Promise<void> {}

  /** Saves what a loss of power would leave. */
  saveSynced(file: string): void {
    writeFileSync(file, this.#synced);
  }

  /** Saves what a killed process would leave. */
  saveWritten(file: string): void {
    writeFileSync(file, this.#written);
  }
}
