import { type FileHandle, open } from 'node:fs/promises';
import { McapWriter } from '@mcap/core';
import type { SensorNotification } from '../../foundation/sensor-notification.ts';
import {
  descriptionEncoding,
  type MessageKind,
  notificationEncoding,
  recordingFormat,
  recordingMetadataName,
  recordingProfile,
  sensorMetadataName,
  toNanoseconds,
  topicOf,
} from './recording-layout.ts';

/** Small: damage costs at most the chunk it hits, about two seconds of one sensor at 416 Hz. */
const chunkBytes = 16_384;

/**
 * Writes raw notifications into an MCAP file with a checksum over every chunk and an index at its end.
 *
 * Calls may overlap; they are carried out in their order. A file that was not closed has no index but can be read.
 */
export class RecordingWriter {
  readonly #handle: FileHandle;
  readonly #mcap: McapWriter;
  readonly #channels = new Map<string, { readonly id: number; sequence: number }>();
  readonly #described = new Set<string>();
  #last: Promise<void>;

  private constructor(handle: FileHandle, about: Readonly<Record<string, string>>) {
    this.#handle = handle;
    let position = 0n;
    this.#mcap = new McapWriter({
      writable: {
        position: () => position,
        write: async (bytes) => {
          for (let at = 0; at < bytes.length; ) at += (await handle.write(bytes, at)).bytesWritten;
          position += BigInt(bytes.length);
        },
      },
      chunkSize: chunkBytes,
    });
    this.#last = this.#start(about);
  }

  /**
   * Makes the file, or empties one that is there.
   *
   * @param about what is to stand in the recording about itself, such as `{ simulated: 'true' }`.
   * @throws the operating system's error when the file cannot be made.
   */
  static async create(path: string, about: Readonly<Record<string, string>> = {}): Promise<RecordingWriter> {
    return new RecordingWriter(await open(path, 'w'), about);
  }

  async #start(about: Readonly<Record<string, string>>): Promise<void> {
    await this.#mcap.start({ profile: recordingProfile, library: recordingProfile });
    const metadata = new Map(Object.entries({ format: recordingFormat, ...about }));
    await this.#mcap.addMetadata({ name: recordingMetadataName, metadata });
  }

  /** Writes a sensor's description; to be called at every start of its stream, before its notifications. */
  describe(sensorId: string, description: Uint8Array, hostTimeS: number): Promise<void> {
    return this.#inTurn(async () => {
      if (!this.#described.has(sensorId)) {
        this.#described.add(sensorId);
        const metadata = new Map([
          ['sensorId', sensorId],
          ['description', Buffer.from(description).toString('hex')],
        ]);
        await this.#mcap.addMetadata({ name: sensorMetadataName, metadata });
      }
      await this.#addMessage(sensorId, 'description', description, hostTimeS);
    });
  }

  /** Writes one notification. */
  add({ sensorId, bytes, hostTimeS }: SensorNotification): Promise<void> {
    return this.#inTurn(() => this.#addMessage(sensorId, 'notification', bytes, hostTimeS));
  }

  /** Writes what is left and the index, and closes the file. */
  async close(): Promise<void> {
    try {
      await this.#inTurn(() => this.#mcap.end());
    } finally {
      await this.#handle.close();
    }
  }

  async #addMessage(sensorId: string, kind: MessageKind, data: Uint8Array, hostTimeS: number): Promise<void> {
    const topic = topicOf(sensorId, kind);
    let channel = this.#channels.get(topic);
    if (!channel) {
      const messageEncoding = kind === 'notification' ? notificationEncoding : descriptionEncoding;
      const id = await this.#mcap.registerChannel({ schemaId: 0, topic, messageEncoding, metadata: new Map() });
      channel = { id, sequence: 0 };
      this.#channels.set(topic, channel);
    }
    const logTime = toNanoseconds(hostTimeS);
    const sequence = channel.sequence;
    channel.sequence = (sequence + 1) % 2 ** 32;
    await this.#mcap.addMessage({ channelId: channel.id, sequence, logTime, publishTime: logTime, data });
  }

  #inTurn(work: () => Promise<void>): Promise<void> {
    const done = this.#last.then(work);
    // The caller hears of the failure; later calls fail by themselves if the file is gone for good.
    this.#last = done.catch(() => {});
    return done;
  }
}
