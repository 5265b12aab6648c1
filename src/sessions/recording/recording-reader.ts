import { crc32 } from 'node:zlib';
import type { OpenedFile } from '../recording-file.ts';
import { type ChunkRecord, longestDataBytes, readChunk, salvageRecords } from './chunk-messages.ts';
import { chunkHeadBytes, opcode, parseChannel, parseMessage, parseMetadata } from './mcap-records.ts';
import { type FoundRecord, ReadAhead, searchBytes, walkRecords } from './record-walk.ts';
import {
  type MessageKind,
  type NoteKind,
  parseNoteTopic,
  parseTopic,
  recordingMetadataName,
  sensorMetadataName,
  toSeconds,
} from './recording-layout.ts';

/** One message of a recording, in the order of the file. `bytes` belong to the receiver. */
export interface RecordingEntry {
  readonly kind: MessageKind;
  readonly sensorId: string;
  readonly bytes: Uint8Array;
  /** s since the Unix epoch. */
  readonly hostTimeS: number;
}

/** Something said about the recording. */
export interface RecordingNote {
  readonly kind: NoteKind;
  /** s since the Unix epoch. */
  readonly hostTimeS: number;
  readonly document: unknown;
}

/** What could not be read. */
export interface RecordingDamage {
  /** False when the file ends without the marks of a proper end: it was cut off or its writer died. */
  readonly isClosed: boolean;
  /** Chunks whose checksum was wrong or that were cut off; what could be read of them was. */
  readonly damagedChunks: number;
  /** Bytes of stretches where no record could be told from another; what could be picked out of them was. */
  readonly brokenBytes: number;
  /** The first places, as sentences. */
  readonly places: readonly string[];
}

const placesTold = 20;

/**
 * Reads a recording of notifications with bounded memory, damaged or not: what is readable comes out, and what was lost
 * is told.
 */
export class RecordingReader {
  readonly #file: OpenedFile;
  readonly #channels = new Map<number, { readonly sensorId: string; readonly kind: MessageKind }>();
  readonly #sensors = new Map<string, Uint8Array | null>();
  readonly #about = new Map<string, string>();
  readonly #noteChannels = new Map<number, NoteKind>();
  #notes: RecordingNote[] = [];
  #hasEnd = false;
  #isClosed = false;
  #damagedChunks = 0;
  #brokenBytes = 0;
  #places: string[] = [];

  private constructor(file: OpenedFile) {
    this.#file = file;
  }

  /** Looks through the file's records without its chunks: sensors, channels and what it says about itself. */
  static async open(file: OpenedFile): Promise<RecordingReader> {
    const reader = new RecordingReader(file);
    for await (const record of walkRecords(new ReadAhead(file))) {
      if (record.kind === 'other') reader.#takeRecord(record.code, record.body);
    }
    reader.#hasEnd = reader.#isClosed;
    reader.#forgetDamage();
    return reader;
  }

  /** What the recording says about itself, such as `simulated`. */
  get about(): ReadonlyMap<string, string> {
    return this.#about;
  }

  /** What was said about the recording, in the order of the file; complete after the last entry. */
  get notes(): readonly RecordingNote[] {
    return this.#notes;
  }

  /** True when the writer closed the file and its end is there. */
  get hasEnd(): boolean {
    return this.#hasEnd;
  }

  /** Sensors named outside the chunks, each with its description's bytes where those stand there too. */
  get sensors(): ReadonlyMap<string, Uint8Array | null> {
    return this.#sensors;
  }

  /**
   * Reads all messages in the order of the file.
   *
   * @param onBytes told how many bytes of the file have been read.
   */
  async *entries(onBytes: (bytes: number) => void = () => {}): AsyncGenerator<RecordingEntry> {
    for await (const batch of this.batches(onBytes)) {
      for (const entry of batch) yield { ...entry, bytes: entry.bytes.slice() };
    }
  }

  /**
   * The same some hundred at a time, for those who go through all of a recording. The bytes are views of what was read of the file: who
   * keeps them for longer keeps a copy.
   */
  async *batches(onBytes: (bytes: number) => void = () => {}): AsyncGenerator<readonly RecordingEntry[]> {
    this.#forgetDamage();
    const file = new ReadAhead(this.#file);
    for await (const record of walkRecords(file)) {
      onBytes(record.at);
      if (record.kind === 'chunk') {
        const batch: RecordingEntry[] = [];
        for (const inside of await this.#readChunk(record, file)) {
          const entry = this.#takeChunkRecord(inside);
          if (entry) batch.push(entry);
        }
        yield batch;
      } else if (record.kind === 'lost') {
        for await (const entry of this.#searchLost(record.at, record.end, file)) yield [entry];
      } else if (record.code === opcode.message) {
        const message = parseMessage(record.body);
        const entry = message && this.#takeChunkRecord({ kind: 'message', message });
        if (entry) yield [entry];
      } else this.#takeRecord(record.code, record.body);
    }
    onBytes(this.#file.sizeBytes);
  }

  /** What could not be read so far; complete after the last entry. */
  damage(): RecordingDamage {
    return {
      isClosed: this.#isClosed,
      damagedChunks: this.#damagedChunks,
      brokenBytes: this.#brokenBytes,
      places: [...this.#places],
    };
  }

  #forgetDamage(): void {
    this.#isClosed = false;
    this.#damagedChunks = 0;
    this.#brokenBytes = 0;
    this.#places = [];
    this.#notes = [];
  }

  #tell(place: string): void {
    if (this.#places.length < placesTold) this.#places.push(place);
  }

  #takeRecord(code: number, body: Uint8Array): void {
    if (code === opcode.footer) this.#isClosed = true;
    if (code === opcode.channel) {
      const channel = parseChannel(body);
      if (channel) this.#takeChannel(channel.id, channel.topic);
    }
    if (code !== opcode.metadata) return;
    const metadata = parseMetadata(body);
    if (metadata?.name === recordingMetadataName)
      for (const [key, value] of metadata.entries) this.#about.set(key, value);
    const sensorId = metadata?.name === sensorMetadataName ? metadata.entries.get('sensorId') : undefined;
    const hex = metadata?.entries.get('description') ?? '';
    if (sensorId !== undefined)
      this.#sensors.set(sensorId, /^([0-9a-f]{2})+$/.test(hex) ? Uint8Array.from(Buffer.from(hex, 'hex')) : null);
  }

  #takeChannel(id: number, topic: string): void {
    const note = parseNoteTopic(topic);
    if (note) this.#noteChannels.set(id, note);
    const parsed = parseTopic(topic);
    if (!parsed) return;
    this.#channels.set(id, parsed);
    if (!this.#sensors.has(parsed.sensorId)) this.#sensors.set(parsed.sensorId, null);
  }

  #takeChunkRecord(record: ChunkRecord): RecordingEntry | null {
    if (record.kind === 'channel') {
      this.#takeChannel(record.id, record.topic);
      return null;
    }
    const { channelId, logTime, data } = record.message;
    const noteKind = this.#noteChannels.get(channelId);
    if (noteKind) this.#takeNote(noteKind, data, toSeconds(logTime));
    const channel = this.#channels.get(channelId);
    if (!channel) return null;
    return { kind: channel.kind, sensorId: channel.sensorId, bytes: data, hostTimeS: toSeconds(logTime) };
  }

  #takeNote(kind: NoteKind, data: Uint8Array, hostTimeS: number): void {
    try {
      this.#notes.push({ kind, hostTimeS, document: JSON.parse(Buffer.from(data).toString('utf8')) });
    } catch {
      this.#tell(`a note of kind ${kind} at ${hostTimeS} s is no JSON`);
    }
  }

  async #readChunk(chunk: Extract<FoundRecord, { kind: 'chunk' }>, file: ReadAhead): Promise<Iterable<ChunkRecord>> {
    const { at, head, recordsAt, availableBytes } = chunk;
    const records = await file.read(recordsAt, availableBytes);
    const isWhole = records.length === head.bodyBytes - chunkHeadBytes;
    if (isWhole && head.isSound && (head.crc === 0 || crc32(records) === head.crc)) return readChunk(records);
    this.#damagedChunks += 1;
    this.#tell(
      isWhole
        ? `byte ${at}: the checksum of the chunk does not fit its bytes`
        : `byte ${at}: the file ends in the middle of a chunk`,
    );
    const times = head.startTime <= head.endTime ? { start: head.startTime, end: head.endTime } : null;
    return this.#salvage(records, records.length, times);
  }

  #salvage(
    bytes: Uint8Array,
    startsBefore: number,
    times: { start: bigint; end: bigint } | null,
  ): Generator<ChunkRecord, number> {
    return salvageRecords({
      bytes,
      startsBefore,
      times,
      isKnownChannel: (id) => this.#channels.has(id) || this.#noteChannels.has(id),
    });
  }

  /** Picks messages out of a stretch where no record could be told from another. */
  async *#searchLost(start: number, end: number, file: ReadAhead): AsyncGenerator<RecordingEntry> {
    let picked = 0;
    for (let at = start; at < end; ) {
      const startsBefore = Math.min(searchBytes, end - at);
      const bytes = await file.read(at, Math.min(searchBytes + longestDataBytes + chunkHeadBytes, end - at));
      const salvage = this.#salvage(bytes, startsBefore, null);
      let next = salvage.next();
      for (; !next.done; next = salvage.next()) {
        const entry = this.#takeChunkRecord(next.value);
        if (!entry) continue;
        picked += 1;
        yield entry;
      }
      at += next.value;
    }
    this.#brokenBytes += end - start;
    this.#tell(`byte ${start}: ${end - start} damaged bytes, from which ${picked} messages could be picked`);
  }
}
