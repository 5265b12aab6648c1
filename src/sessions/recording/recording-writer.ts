import type { SensorNotification } from '../../foundation/sensor-notification.ts';
import { type DurableFile, type OpenDurableFile, openDurableFile } from './durable-file.ts';
import { type ClosedChunk, McapAssembly } from './mcap-assembly.ts';
import {
  descriptionEncoding,
  type MessageKind,
  type NoteKind,
  noteEncoding,
  noteTopic,
  notificationEncoding,
  recordingFormat,
  recordingMetadataName,
  recordingProfile,
  sensorMetadataName,
  toNanoseconds,
  topicOf,
} from './recording-layout.ts';

/** Small: damage costs at most the chunk it hits. */
const chunkBytes = 16_384;
/** What is kept in memory while the disk takes nothing: minutes of several sensors. */
const usualWaitingBytes = 16 * 2 ** 20;
const retryMs = 1000;
/** Between two syncs of a slow disk. */
const leastPauseMs = 20;

export interface RecordingWriterOptions {
  /**
   * Every so often a chunk is closed, written and synced, and a disk that takes nothing is tried again instead of ending
   * the recording: for live use, 250 ms. Null (the default) writes full chunks alone and fails at the first error.
   */
  readonly syncEveryMs?: number | null;
  /** Bytes that may wait in memory for the disk; default 16 MiB. */
  readonly mostWaitingBytes?: number;
  readonly openFile?: OpenDurableFile;
  /** Told when writing begins to fail (a sentence) and when it works again (null). */
  readonly onTrouble?: (trouble: string | null) => void;
}

/** Something that waits for its place in the file. */
type Waiting =
  | { readonly kind: 'metadata'; readonly name: string; readonly entries: ReadonlyMap<string, string> }
  | { readonly kind: 'chunk'; readonly chunk: ClosedChunk };

/**
 * Writes raw notifications into an MCAP file with a checksum over every chunk and an index at its end. A file that was not
 * closed has no index but can be read.
 *
 * Calls may overlap; they are carried out in their order. With `syncEveryMs` none of them fails: what the disk does not
 * take waits in memory, and `lostMessages` counts what had to be given up there.
 */
export class RecordingWriter {
  readonly #assembly = new McapAssembly();
  readonly #file: DurableFile;
  readonly #syncEveryMs: number | null;
  readonly #mostWaitingBytes: number;
  readonly #onTrouble: (trouble: string | null) => void;
  readonly #channels = new Map<string, { readonly id: number; sequence: number }>();
  readonly #described = new Set<string>();
  readonly #waiting: Waiting[] = [];
  #timer: NodeJS.Timeout | undefined;
  #waitingBytes = 0;
  #position = 0;
  #unsynced = false;
  #started: Uint8Array | null = null;
  /** The item whose turn it is, with its bytes: the same again when it is tried again. */
  #pending: { readonly item: Waiting; readonly bytes: Uint8Array } | null = null;
  #writing: Promise<void> = Promise.resolve();
  #trouble: string | null = null;
  #lostMessages = 0;

  private constructor(file: DurableFile, about: Readonly<Record<string, string>>, options: RecordingWriterOptions) {
    this.#file = file;
    this.#syncEveryMs = options.syncEveryMs ?? null;
    this.#mostWaitingBytes = options.mostWaitingBytes ?? usualWaitingBytes;
    this.#onTrouble = options.onTrouble ?? (() => {});
    const entries = new Map(Object.entries({ format: recordingFormat, ...about }));
    this.#waiting.push({ kind: 'metadata', name: recordingMetadataName, entries });
  }

  /**
   * Makes the file, or empties one that is there.
   *
   * @param about what is to stand in the recording about itself, such as `{ simulated: 'true' }`.
   * @throws the operating system's error when the file cannot be made.
   */
  static async create(
    path: string,
    about: Readonly<Record<string, string>> = {},
    options: RecordingWriterOptions = {},
  ): Promise<RecordingWriter> {
    const writer = new RecordingWriter(await (options.openFile ?? openDurableFile)(path), about, options);
    await writer.#write();
    writer.#scheduleSync();
    return writer;
  }

  /** Bytes in the file so far. */
  get sizeBytes(): number {
    return this.#position;
  }

  /** Why the disk takes nothing at the moment, or null. */
  get trouble(): string | null {
    return this.#trouble;
  }

  /** Messages that were given up because the disk took nothing for too long. */
  get lostMessages(): number {
    return this.#lostMessages;
  }

  /** Writes a sensor's description; to be called at every start of its stream, before its notifications. */
  describe(sensorId: string, description: Uint8Array, hostTimeS: number): Promise<void> {
    if (!this.#described.has(sensorId)) {
      this.#described.add(sensorId);
      const entries = new Map([
        ['sensorId', sensorId],
        ['description', Buffer.from(description).toString('hex')],
      ]);
      this.#closeChunk();
      this.#waiting.push({ kind: 'metadata', name: sensorMetadataName, entries });
    }
    return this.#addMessage(topicOf(sensorId, 'description'), descriptionEncoding, description, hostTimeS);
  }

  /** Writes one notification. */
  add({ sensorId, bytes, hostTimeS }: SensorNotification): Promise<void> {
    const kind: MessageKind = 'notification';
    return this.#addMessage(topicOf(sensorId, kind), notificationEncoding, bytes, hostTimeS);
  }

  /** Writes something said about the recording: a mark, a clock's fit, settings. */
  note(kind: NoteKind, document: unknown, hostTimeS: number): Promise<void> {
    return this.#addMessage(noteTopic(kind), noteEncoding, Buffer.from(JSON.stringify(document)), hostTimeS);
  }

  /** Resolves when everything given so far is on the disk, or the disk has refused it. */
  async flush(): Promise<void> {
    this.#closeChunk();
    await this.#write(true);
  }

  /** Writes what is left and the index, and closes the file. */
  async close(): Promise<void> {
    clearTimeout(this.#timer);
    this.#closeChunk();
    try {
      await this.#write();
      if (this.#waiting.length > 0) {
        this.#lostMessages += this.#waitingMessages();
        return;
      }
      await this.#file.write(this.#assembly.end(BigInt(this.#position)), this.#position);
      await this.#file.sync();
    } catch (error) {
      if (this.#syncEveryMs === null) throw error;
      this.#report(error);
    } finally {
      await this.#file.close();
    }
  }

  #addMessage(topic: string, encoding: string, data: Uint8Array, hostTimeS: number): Promise<void> {
    let channel = this.#channels.get(topic);
    if (!channel) {
      channel = { id: this.#assembly.channel(topic, encoding), sequence: 0 };
      this.#channels.set(topic, channel);
    }
    const logTime = toNanoseconds(hostTimeS);
    const sequence = channel.sequence;
    channel.sequence = (sequence + 1) % 2 ** 32;
    this.#assembly.message({ channelId: channel.id, sequence, logTime, publishTime: logTime, data });
    if (this.#assembly.openBytes < chunkBytes) return this.#syncEveryMs === null ? this.#writing : Promise.resolve();
    this.#closeChunk();
    return this.#write();
  }

  #closeChunk(): void {
    const chunk = this.#assembly.closeChunk();
    if (!chunk) return;
    this.#waiting.push({ kind: 'chunk', chunk });
    this.#waitingBytes += chunk.record.records.length;
    while (this.#waitingBytes > this.#mostWaitingBytes && this.#giveUpOldest());
  }

  #giveUpOldest(): boolean {
    // What has its place in the file already must go there.
    const at = this.#waiting.findIndex((item) => item.kind === 'chunk' && item !== this.#pending?.item);
    if (at < 0) return false;
    const [oldest] = this.#waiting.splice(at, 1);
    if (oldest?.kind !== 'chunk') return false;
    this.#waitingBytes -= oldest.chunk.record.records.length;
    this.#lostMessages += oldest.chunk.messageCount;
    return true;
  }

  #waitingMessages(): number {
    return this.#waiting.reduce((sum, item) => sum + (item.kind === 'chunk' ? item.chunk.messageCount : 0), 0);
  }

  /** @param tookMs of the last sync: the next one is due so long after its beginning, not after its end. */
  #scheduleSync(tookMs = 0): void {
    if (this.#syncEveryMs === null) return;
    const waitMs = this.#trouble === null ? Math.max(leastPauseMs, this.#syncEveryMs - tookMs) : retryMs;
    this.#timer = setTimeout(() => {
      const startMs = performance.now();
      void this.flush().finally(() => this.#scheduleSync(performance.now() - startMs));
    }, waitMs);
    this.#timer.unref();
  }

  /** Writes what waits, after what is being written. */
  #write(sync = false): Promise<void> {
    const done = this.#writing.then(() => this.#writeWaiting(sync));
    if (this.#syncEveryMs === null) {
      // The caller hears of the failure; later calls fail by themselves if the file is gone for good.
      this.#writing = done.catch(() => {});
      return done;
    }
    this.#writing = done.then(
      () => this.#report(null),
      (error: unknown) => this.#report(error),
    );
    return this.#writing;
  }

  async #writeWaiting(sync: boolean): Promise<void> {
    if (this.#position === 0) await this.#put(this.#start());
    for (let item = this.#waiting[0]; item; item = this.#waiting[0]) {
      await this.#put(this.#placed(item));
      this.#waiting.shift();
      if (item.kind === 'chunk') this.#waitingBytes -= item.chunk.record.records.length;
    }
    if (!sync || !this.#unsynced) return;
    await this.#file.sync();
    this.#unsynced = false;
  }

  #start(): Uint8Array {
    this.#started ??= this.#assembly.start(recordingProfile);
    return this.#started;
  }

  #placed(item: Waiting): Uint8Array {
    if (this.#pending?.item !== item) {
      const position = BigInt(this.#position);
      const bytes =
        item.kind === 'chunk'
          ? this.#assembly.place(item.chunk, position)
          : this.#assembly.metadata(item.name, item.entries, position);
      this.#pending = { item, bytes };
    }
    return this.#pending.bytes;
  }

  async #put(bytes: Uint8Array): Promise<void> {
    await this.#file.write(bytes, this.#position);
    this.#position += bytes.length;
    this.#unsynced = true;
  }

  #report(error: unknown): void {
    const trouble = error === null ? null : error instanceof Error ? error.message : String(error);
    if ((trouble === null) !== (this.#trouble === null)) this.#onTrouble(trouble);
    this.#trouble = trouble;
  }
}
