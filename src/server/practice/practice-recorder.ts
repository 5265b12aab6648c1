import { existsSync } from 'node:fs';
import path from 'node:path';
import type { SensorStateEvent } from '../../devices/notification-source.ts';
import type { Logger } from '../../foundation/logger.ts';
import type { SensorNotification } from '../../foundation/sensor-notification.ts';
import type { NoteKind } from '../../sessions/recording/recording-layout.ts';
import { RecordingWriter } from '../../sessions/recording/recording-writer.ts';

export interface PracticeRecorderOptions {
  /** An existing folder. */
  readonly folder: string;
  /** ISO 8601, UTC; names the file. */
  readonly startedAt: string;
  readonly logger: Logger;
  /** Between two tries to make the file, ms; default 1000. */
  readonly retryMs?: number;
}

type Item =
  | SensorNotification
  | SensorStateEvent
  | { readonly note: NoteKind; readonly document: unknown; readonly hostTimeS: number };

const usualRetryMs = 1000;
const syncEveryMs = 250;
/** What waits while no file can be made: a minute of several sensors. */
const mostEarly = 40_000;

/**
 * Records a practice. A file that cannot be made is tried again, and what comes meanwhile waits; nothing here ever fails the
 * practice. Sensors whose owner has not agreed to being recorded are left out.
 */
export class PracticeRecorder {
  /** Name of the file in its folder. */
  readonly name: string;
  readonly #options: PracticeRecorderOptions;
  #writer: RecordingWriter | null = null;
  #early: Item[] = [];
  #trouble: string | null = null;
  #lost = 0;
  #retry: NodeJS.Timeout | undefined;
  #opening: Promise<void>;
  #isClosed = false;
  /** What is known of who may be recorded, by sensor; what is not known yet waits. */
  readonly #mayRecord = new Map<string, boolean>();
  readonly #undecided = new Map<string, Item[]>();

  constructor(options: PracticeRecorderOptions) {
    this.#options = options;
    this.name = freeName(options.folder, `${options.startedAt.slice(0, 19).replaceAll(':', '-')}Z`);
    this.#opening = this.#open();
  }

  /** Why notifications cannot be recorded at the moment, as a sentence, or null. */
  get failure(): string | null {
    const trouble = this.#trouble ?? this.#writer?.trouble ?? null;
    const lost = this.#lost + (this.#writer?.lostMessages ?? 0);
    if (trouble === null) return lost === 0 ? null : `${lost} notifications could not be recorded`;
    return `notifications cannot be recorded: ${trouble}; free the disk or mend the data folder${lost > 0 ? `. ${lost} are lost` : ''}`;
  }

  /** Bytes in the file so far. */
  get sizeBytes(): number {
    return this.#writer?.sizeBytes ?? 0;
  }

  /** True once the file is there. */
  get isMade(): boolean {
    return this.#writer !== null;
  }

  /** Says whether a sensor's owner has agreed to being recorded; before it is said, what comes from the sensor waits. */
  allow(sensorId: string, mayRecord: boolean): void {
    this.#mayRecord.set(sensorId, mayRecord);
    const waiting = this.#undecided.get(sensorId) ?? [];
    this.#undecided.delete(sensorId);
    if (mayRecord) for (const item of waiting) this.#write(item);
  }

  takeState(change: SensorStateEvent): void {
    if (change.description !== null) this.#takeOf(change.sensorId, change);
  }

  takeNotification(notification: SensorNotification): void {
    this.#takeOf(notification.sensorId, notification);
  }

  note(note: NoteKind, document: unknown, hostTimeS: number): void {
    this.#write({ note, document, hostTimeS });
  }

  /** Writes what is left and closes the file. */
  async close(): Promise<void> {
    this.#isClosed = true;
    clearTimeout(this.#retry);
    await this.#opening;
    if (this.#writer === null) await this.#open();
    clearTimeout(this.#retry);
    await this.#writer?.close();
    const lost = this.#lost + this.#early.length + (this.#writer?.lostMessages ?? 0);
    if (lost > 0) this.#options.logger.error({ recording: this.name, lost }, 'notifications could not be recorded');
  }

  #takeOf(sensorId: string, item: Item): void {
    const mayRecord = this.#mayRecord.get(sensorId);
    if (mayRecord) this.#write(item);
    if (mayRecord !== undefined) return;
    const waiting = this.#undecided.get(sensorId) ?? [];
    if (waiting.length >= mostEarly) this.#lost += 1;
    else waiting.push(item);
    this.#undecided.set(sensorId, waiting);
  }

  #write(item: Item): void {
    const writer = this.#writer;
    if (writer === null) {
      if (this.#early.length >= mostEarly) this.#lost += 1;
      else this.#early.push(item);
    } else if ('note' in item) void writer.note(item.note, item.document, item.hostTimeS);
    else if ('bytes' in item) void writer.add(item);
    else if (item.description) void writer.describe(item.sensorId, item.description, item.hostTimeS);
  }

  async #open(): Promise<void> {
    const { folder, startedAt, logger } = this.#options;
    try {
      this.#writer = await RecordingWriter.create(
        path.join(folder, this.name),
        { startedAt },
        { syncEveryMs, onTrouble: (trouble) => this.#tell(trouble) },
      );
    } catch (error) {
      const why = error instanceof Error ? error.message : String(error);
      if (this.#trouble === null) this.#tell(why);
      this.#trouble = why;
      if (!this.#isClosed) {
        this.#retry = setTimeout(() => {
          this.#opening = this.#open();
        }, this.#options.retryMs ?? usualRetryMs);
        this.#retry.unref();
      }
      return;
    }
    if (this.#trouble !== null) logger.info({ recording: this.name }, 'notifications are recorded again');
    this.#trouble = null;
    const early = this.#early;
    this.#early = [];
    for (const item of early) this.#write(item);
  }

  #tell(trouble: string | null): void {
    const { logger } = this.#options;
    if (trouble === null) logger.info({ recording: this.name }, 'notifications are recorded again');
    else
      logger.error(
        { recording: this.name, why: trouble },
        'notifications cannot be recorded; free the disk or mend the data folder',
      );
  }
}

/** Two practices may begin in one second. */
function freeName(folder: string, stem: string): string {
  for (let count = 1; ; count++) {
    const name = `${stem}${count === 1 ? '' : `-${count}`}.mcap`;
    if (!existsSync(path.join(folder, name))) return name;
  }
}
