import { crc32 } from 'node:zlib';
import { McapChunkBuilder, McapRecordBuilder, type McapTypes } from '@mcap/core';

/** A chunk that takes no more messages, ready to be put at whatever place of the file comes next. */
export interface ClosedChunk {
  readonly messageCount: number;
  readonly record: McapTypes.Chunk;
  readonly indices: readonly McapTypes.MessageIndex[];
}

/** What of a container is put together: its bytes, in the order in which they stand in the file. */
type Channel = McapTypes.Channel;

/**
 * Puts an MCAP container together piece by piece (MCAP format specification, version 0). Where the stock writer closes a
 * chunk when it is full, this one closes it when it is told to, so that a crash costs no more than the open chunk. Every
 * chunk names its channels, so that it can be read without any other.
 */
export class McapAssembly {
  readonly #records = new McapRecordBuilder();
  readonly #chunk = new McapChunkBuilder({ useMessageIndex: true });
  readonly #channels: Channel[] = [];
  readonly #inChunk = new Set<number>();
  readonly #chunkIndices: McapTypes.ChunkIndex[] = [];
  readonly #metadataIndices: McapTypes.MetadataIndex[] = [];
  readonly #messageCounts = new Map<number, bigint>();
  #firstTime = 0n;
  #lastTime = 0n;
  #messageCount = 0n;
  #dataCrc = 0;

  /** Bytes of the records in the open chunk. */
  get openBytes(): number {
    return this.#chunk.byteLength;
  }

  /** The first bytes of the file. */
  start(profile: string): Uint8Array {
    this.#records.writeMagic();
    this.#records.writeHeader({ profile, library: profile });
    return this.#takeData();
  }

  /** @param position where in the file the record will stand. */
  metadata(name: string, entries: ReadonlyMap<string, string>, position: bigint): Uint8Array {
    const length = this.#records.writeMetadata({ name, metadata: new Map(entries) });
    this.#metadataIndices.push({ offset: position, length, name });
    return this.#takeData();
  }

  /** @returns the channel's number. */
  channel(topic: string, messageEncoding: string): number {
    const id = this.#channels.length;
    this.#channels.push({ id, schemaId: 0, topic, messageEncoding, metadata: new Map() });
    return id;
  }

  /** Puts a message into the open chunk. */
  message(message: McapTypes.Message): void {
    const channel = this.#channels[message.channelId];
    if (!channel)
      throw new RangeError(`message for channel ${message.channelId}: expected one of ${this.#channels.length}`);
    if (!this.#inChunk.has(channel.id)) {
      this.#inChunk.add(channel.id);
      this.#chunk.addChannel(channel);
    }
    this.#chunk.addMessage(message);
  }

  /** Closes the open chunk. @returns null when nothing is in it. */
  closeChunk(): ClosedChunk | null {
    if (this.#chunk.numMessages === 0) return null;
    const records = this.#chunk.buffer.slice();
    const indices = [...this.#chunk.indices].map(({ channelId, records: entries }) => ({
      channelId,
      records: [...entries],
    }));
    const record: McapTypes.Chunk = {
      messageStartTime: this.#chunk.messageStartTime,
      messageEndTime: this.#chunk.messageEndTime,
      uncompressedSize: BigInt(records.length),
      uncompressedCrc: crc32(records),
      compression: '',
      records,
    };
    const messageCount = this.#chunk.numMessages;
    this.#chunk.reset();
    this.#inChunk.clear();
    return { messageCount, record, indices };
  }

  /** Gives a closed chunk its place. Chunks may be left out, but not change their order. */
  place(chunk: ClosedChunk, position: bigint): Uint8Array {
    const { record, indices } = chunk;
    const chunkLength = this.#records.writeChunk(record);
    const messageIndexOffsets = new Map<number, bigint>();
    let messageIndexLength = 0n;
    for (const index of indices) {
      if (index.records.length === 0) continue;
      messageIndexOffsets.set(index.channelId, position + chunkLength + messageIndexLength);
      messageIndexLength += this.#records.writeMessageIndex(index);
      const count = this.#messageCounts.get(index.channelId) ?? 0n;
      this.#messageCounts.set(index.channelId, count + BigInt(index.records.length));
    }
    const { messageStartTime, messageEndTime, compression, uncompressedSize } = record;
    this.#chunkIndices.push({
      messageStartTime,
      messageEndTime,
      chunkStartOffset: position,
      chunkLength,
      messageIndexOffsets,
      messageIndexLength,
      compression,
      compressedSize: uncompressedSize,
      uncompressedSize,
    });
    if (this.#messageCount === 0n || messageStartTime < this.#firstTime) this.#firstTime = messageStartTime;
    if (messageEndTime > this.#lastTime) this.#lastTime = messageEndTime;
    this.#messageCount += BigInt(chunk.messageCount);
    return this.#takeData();
  }

  /** The last bytes of the file: end of the data, summary, footer. */
  end(position: bigint): Uint8Array {
    this.#records.writeDataEnd({ dataSectionCrc: this.#dataCrc });
    const dataEnd = this.#take();
    const summaryStart = position + BigInt(dataEnd.length);
    const offsets: McapTypes.SummaryOffset[] = [];
    const group = (groupOpcode: number, write: () => void): void => {
      const before = this.#records.length;
      write();
      const groupLength = BigInt(this.#records.length - before);
      if (groupLength > 0n) offsets.push({ groupOpcode, groupStart: summaryStart + BigInt(before), groupLength });
    };
    group(0x04, () => {
      for (const channel of this.#channels) this.#records.writeChannel(channel);
    });
    group(0x0b, () => this.#records.writeStatistics(this.#statistics()));
    group(0x0d, () => {
      for (const index of this.#metadataIndices) this.#records.writeMetadataIndex(index);
    });
    group(0x08, () => {
      for (const index of this.#chunkIndices) this.#records.writeChunkIndex(index);
    });
    const summaryOffsetStart = summaryStart + BigInt(this.#records.length);
    for (const offset of offsets) this.#records.writeSummaryOffset(offset);
    const summary = this.#take();
    const footerHead = new DataView(new ArrayBuffer(25));
    footerHead.setUint8(0, 0x02);
    footerHead.setBigUint64(1, 20n, true);
    footerHead.setBigUint64(9, summaryStart, true);
    footerHead.setBigUint64(17, summaryOffsetStart, true);
    const summaryCrc = crc32(new Uint8Array(footerHead.buffer), crc32(summary));
    this.#records.writeFooter({ summaryStart, summaryOffsetStart, summaryCrc });
    this.#records.writeMagic();
    return Buffer.concat([dataEnd, summary, this.#take()]);
  }

  #statistics(): McapTypes.Statistics {
    return {
      messageCount: this.#messageCount,
      schemaCount: 0,
      channelCount: this.#channels.length,
      attachmentCount: 0,
      metadataCount: this.#metadataIndices.length,
      chunkCount: this.#chunkIndices.length,
      messageStartTime: this.#firstTime,
      messageEndTime: this.#lastTime,
      channelMessageCounts: this.#messageCounts,
    };
  }

  #takeData(): Uint8Array {
    const bytes = this.#take();
    this.#dataCrc = crc32(bytes, this.#dataCrc);
    return bytes;
  }

  #take(): Uint8Array {
    const bytes = this.#records.buffer.slice();
    this.#records.reset();
    return bytes;
  }
}
