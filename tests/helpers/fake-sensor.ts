import type { CharacteristicInfo, CharacteristicRef, Sighting } from '../../src/devices/radio.ts';
import type { Clock } from '../../src/foundation/clock.ts';
import type { ImuBlock } from '../../src/foundation/imu-block.ts';
import {
  batteryServiceUuid,
  deviceInformationUuid,
  sensorCharacteristics,
  sensorServiceUuid,
} from '../../src/protocol/gatt-layout.ts';
import {
  encodeNotification,
  type NotificationFrame,
  notificationSampleCount,
} from '../../src/protocol/notification.ts';
import { encodeSensorDescription, type SensorDescription } from '../../src/protocol/sensor-description.ts';
import { ballDescription } from '../protocol/made-frames.ts';
import type { FakeDevice } from './fake-air.ts';
import { ModelControl } from './model-control.ts';

/** Where a test may make a sensor break a rule. What is not given is as the protocol asks for it. */
export interface Breaks {
  readonly sighting?: Partial<Sighting>;
  readonly characteristics?: (all: readonly CharacteristicInfo[]) => readonly CharacteristicInfo[];
  readonly description?: (bytes: Uint8Array, reading: number) => Uint8Array;
  readonly firmwareRevision?: string | null;
  readonly battery?: Uint8Array;
  /** Changes a packet's values before they are encoded; `at` counts packets since the start, `start` starts. */
  readonly frame?: (frame: NotificationFrame, at: number, start: number) => NotificationFrame;
  /** Changes its bytes; null sends nothing. */
  readonly packet?: (bytes: Uint8Array, at: number) => Uint8Array | null;
  readonly streamsOnSubscribing?: boolean;
  readonly stopsOnUnsubscribing?: boolean;
  readonly reconnects?: boolean;
  readonly rowsAPacket?: number;
  /** Rows a second over the nominal rate. */
  readonly rateFactor?: number;
  readonly ticksFactor?: number;
  /** Whether the counters go on over a start. */
  readonly keepsCounting?: boolean;
  readonly startNumberStep?: number;
  /** Changes the answer that control would give; `written` is the last write. */
  readonly answer?: (answer: Uint8Array, written: Uint8Array | null) => Uint8Array;
  /** Whether control acts at all on what is written. */
  readonly ignores?: (written: Uint8Array) => boolean;
  /** Whether a request stop stops the stream. */
  readonly stops?: boolean;
  /** Whether a request start starts it. */
  readonly starts?: boolean;
  readonly hasControl?: boolean;
}

/** Readings of the sensor, one row at a time, SI units; null ends the stream. */
export type RowSource = (at: number) => readonly number[] | null;

const { stream, description: descriptionPlace, control } = sensorCharacteristics;
const linkS = 0.008;

/** A sensor of the project's own protocol that lies in the made-up air. */
export class FakeSensor implements FakeDevice {
  readonly sighting: Omit<Sighting, 'hostTimeS'>;
  readonly characteristics: readonly CharacteristicInfo[];
  readonly description: SensorDescription;
  readonly control: ModelControl;
  identified = 0;
  readonly #clock: Clock;
  readonly #breaks: Breaks;
  readonly #rows: RowSource;
  readonly #mtu: number;
  #take: ((bytes: Uint8Array) => void) | null = null;
  #written: Uint8Array | null = null;
  #reads = 0;
  #connections = 0;
  #sending = false;
  #cancel = (): void => {};
  #startNumber = 40;
  #starts = 0;
  #packets = 0;
  #sampleIndex = 0;
  #row = 0;

  constructor(
    clock: Clock,
    options: {
      readonly breaks?: Breaks;
      readonly rows?: RowSource;
      readonly description?: Partial<SensorDescription>;
      readonly mtu?: number;
    } = {},
  ) {
    const { breaks = {}, mtu = 247 } = options;
    this.#clock = clock;
    this.#breaks = breaks;
    this.#mtu = mtu;
    this.description = { ...ballDescription, accelRateHz: 208, gyroRateHz: 208, ...options.description };
    if (this.description.gyroRateHz !== null)
      this.description = { ...this.description, gyroRateHz: this.description.accelRateHz };
    this.#rows = options.rows ?? restingRows(this.description);
    this.sighting = {
      radioId: '5e:00:00:00:00:01',
      name: 'IMU-3F0A',
      serviceUuids: [sensorServiceUuid],
      manufacturerData: null,
      rssiDbm: -58,
      connectable: true,
      ...breaks.sighting,
    };
    const { characteristics = (all) => all, hasControl = true } = breaks;
    this.characteristics = characteristics([
      { ...stream, properties: ['notify'] },
      { ...descriptionPlace, properties: ['read'] },
      ...(hasControl ? [{ ...control, properties: ['read', 'write'] }] : []),
      { service: deviceInformationUuid, characteristic: '2a26', properties: ['read'] },
      { service: batteryServiceUuid, characteristic: '2a19', properties: ['read'] },
    ]);
    const { accelRangeMps2, gyroRangeRadps, accelRateHz, placement } = this.description;
    const range = (si: number, perSi: number) => Math.round(si * perSi);
    const settings = {
      rateMilliHz: Math.round(1e3 * accelRateHz),
      accelRangeMilliG: range(accelRangeMps2, 1e3 / 9.80665),
      gyroRangeMilliDps: gyroRangeRadps === null ? 0 : range(gyroRangeRadps, 180e3 / Math.PI),
      placement,
    };
    const offer = {
      ratesMilliHz: [settings.rateMilliHz],
      accelRangesMilliG: [settings.accelRangeMilliG],
      gyroRangesMilliDps: settings.gyroRangeMilliDps === 0 ? [] : [settings.gyroRangeMilliDps],
    };
    const port = {
      apply: () => true,
      rememberPlacement: () => true,
      start: () => {
        if (this.#starting) this.#begin();
        return true;
      },
      stop: () => {
        if (this.#stopping) this.#sending = false;
      },
      identify: () => {
        this.identified += 1;
        return true;
      },
    };
    this.control = new ModelControl(settings, offer, port, 41);
  }

  #starting = true;
  #stopping = true;

  connected(on: boolean): boolean {
    if (on) {
      this.#connections += 1;
      if (this.#connections > 1 && this.#breaks.reconnects === false) return false;
      this.control.connect();
      this.#written = null;
    } else {
      this.#stopping = true;
      this.control.disconnect();
      this.#sending = false;
      this.#take = null;
    }
    return true;
  }

  read({ characteristic }: CharacteristicRef): Uint8Array {
    if (characteristic === descriptionPlace.characteristic) {
      const bytes = encodeSensorDescription(this.description);
      this.#reads += 1;
      return this.#breaks.description?.(bytes, this.#reads) ?? bytes;
    }
    if (characteristic === control.characteristic) {
      const answer = this.control.read();
      return this.#breaks.answer?.(answer, this.#written) ?? answer;
    }
    if (characteristic === '2a19') return this.#breaks.battery ?? Uint8Array.of(80);
    const { major, minor, patch } = this.description.firmwareVersion;
    return new TextEncoder().encode(this.#breaks.firmwareRevision ?? `${major}.${minor}.${patch}`);
  }

  write(_ref: CharacteristicRef, bytes: Uint8Array): void {
    this.#written = bytes;
    if (this.#breaks.ignores?.(bytes)) return;
    this.#starting = this.#breaks.starts ?? true;
    this.#stopping = this.#breaks.stops ?? true;
    this.control.write(bytes);
  }

  subscribe(_ref: CharacteristicRef, take: ((bytes: Uint8Array) => void) | null): void {
    // A listener that is gone hears nothing, but the sensor may send on.
    if (take !== null) this.#take = take;
    this.#starting = this.#breaks.streamsOnSubscribing ?? true;
    this.#stopping = this.#breaks.stopsOnUnsubscribing ?? true;
    this.control.subscribe(take !== null);
  }

  #begin(): void {
    this.#cancel();
    this.#sending = true;
    this.#starts += 1;
    this.#startNumber = (this.#startNumber + (this.#breaks.startNumberStep ?? 1)) % 256;
    if (this.#breaks.keepsCounting !== true) {
      this.#packets = 0;
      this.#sampleIndex = 0;
    }
    this.#next(this.#clock.nowS(), this.#row);
  }

  #next(startS: number, firstRow: number): void {
    const { accelRateHz, gyroRateHz, tickUnitS } = this.description;
    const axes = gyroRateHz === null ? 3 : 6;
    const rateHz = accelRateHz * (this.#breaks.rateFactor ?? 1);
    const count = this.#breaks.rowsAPacket ?? notificationSampleCount(accelRateHz, this.#mtu, axes);
    const from = this.#row;
    const dueS = startS + (from - firstRow + count) / rateHz + linkS;
    this.#cancel = this.#clock.schedule(dueS, () => {
      if (!this.#sending) return;
      const rows = Array.from({ length: count }, (_, k) => this.#rows(from + k));
      if (rows.some((row) => row === null)) return;
      const atS = startS + (from - firstRow) / rateHz;
      const samples = Int16Array.from(rows.flatMap((row) => this.#raw(row!.slice(0, axes))));
      const short = this.#mtu < 19 + 2 * axes;
      const frame: NotificationFrame = {
        form: short ? 'short' : 'full',
        startNumber: short ? null : this.#startNumber,
        sequence: this.#packets % 65_536,
        tick: Math.round((atS * (this.#breaks.ticksFactor ?? 1)) / tickUnitS) % 2 ** 32,
        sampleIndex: (short ? this.#packets % 65_536 : this.#sampleIndex) % 2 ** 32,
        axes,
        samples,
      };
      const at = this.#packets;
      const bytes = encodeNotification(this.#breaks.frame?.(frame, at, this.#starts) ?? frame);
      const sent = this.#breaks.packet ? this.#breaks.packet(bytes, at) : bytes;
      if (sent !== null) this.#take?.(sent);
      this.#packets += 1;
      this.#sampleIndex += count;
      this.#row += count;
      this.#next(startS, firstRow);
    });
  }

  #raw(row: readonly number[]): number[] {
    const { accelScaleMps2PerLsb, gyroScaleRadpsPerLsb } = this.description;
    return row.map((value, k) => {
      const raw = Math.round(value / (k < 3 ? accelScaleMps2PerLsb : gyroScaleRadpsPerLsb!));
      return Math.max(-32_768, Math.min(32_767, raw));
    });
  }
}

/** Lies still, slanted, with a little noise. */
export function restingRows(_description: SensorDescription): RowSource {
  return (at) => {
    const wobble = Math.sin(12.9898 * at) * 0.02;
    return [3 + wobble, -4 - wobble, 8.4368 + wobble, 0.01 + wobble / 10, -0.02, 0.005 - wobble / 10];
  };
}

/** Plays a block's rows. */
export function blockRows(block: ImuBlock): RowSource {
  return (at) =>
    at >= block.length
      ? null
      : [...block.accelMps2.subarray(3 * at, 3 * at + 3), ...(block.gyroRadps?.subarray(3 * at, 3 * at + 3) ?? [])];
}
