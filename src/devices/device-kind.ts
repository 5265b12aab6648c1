import type { GattSession, Sighting } from './radio.ts';

/**
 * A kind of sensor that the provider knows how to talk to: the project's own protocol is one, each device profile is
 * another. The first kind that fits an advertisement is taken.
 */
export interface DeviceKind {
  readonly name: string;
  /** Judges an advertisement, which is hostile input. */
  fits(sighting: Sighting): boolean;
  /**
   * Reads what has to be read of a fresh connection, before anything is subscribed.
   *
   * @throws RadioError, or SeamwiseError where the device says something that makes no sense; the message is shown.
   */
  prepare(session: GattSession): Promise<PreparedDevice>;
}

/** A connected device that is ready to stream. */
export interface PreparedDevice {
  /** Stable id of the sensor: of its description, not of its radio. */
  readonly sensorId: string;
  /** The sensor description in the bytes of the stream format. */
  readonly description: Uint8Array;
  /**
   * Subscribes (listener first) and starts the stream. `take` gets notifications in the stream format, in order.
   * Anything that has to be translated is translated here.
   *
   * @throws RadioError
   */
  start(take: (bytes: Uint8Array, hostTimeS: number) => void): Promise<void>;
  /** Makes the device blink, or null where it has no such thing. */
  readonly identify: (() => Promise<void>) | null;
}
