/**
 * Makes a board with a device profile speak the stream format: its notifications in, notifications and a description of the
 * format out, so that everything behind is the same path as for a sensor that speaks it by itself.
 *
 * Values of int16 pass as they are. Others are rounded to a 32,767th of their range, as the chip behind them did before.
 */
import { type BoardProfile, type ProfileTriple, quantities } from './device-profile.ts';
import { encodeNotification, maxSamplesPerNotification } from './notification.ts';
import { numberTypes } from './number-types.ts';
import { hasQuantity, openRowDecoder, type ProfileProblem, type ProfileRows, type RowDecoder } from './profile-rows.ts';
import { RowClock, wrap } from './row-clock.ts';
import type { SensorDescription } from './sensor-description.ts';

export interface TranslatedPacket {
  /** A notification of the stream format. */
  readonly bytes: Uint8Array;
  readonly hostTimeS: number;
}

/** What could not be used, so far. */
export interface TranslationCounts {
  readonly problems: Readonly<Partial<Record<ProfileProblem, number>>>;
  /** Rows of one characteristic to which none of the other came. */
  readonly unpaired: number;
}

interface OneRow {
  readonly values: Int16Array;
  readonly sequence: number | null;
  readonly tick: number | null;
  readonly hostTimeS: number;
}

/** More rows than these wait for their partner only where it does not come. */
const maxWaiting = 64;

/** After so many rows without a partner what is known of their distance is given up. */
const patience = 8;

/** @returns the description of a board, which cannot give one itself. */
export function describeBoard(profile: BoardProfile, sensorId: string): SensorDescription {
  const triples = profile.streams.flatMap((stream): readonly ProfileTriple[] => stream.triples);
  const [accel, gyro] = quantities.map((quantity) => triples.find((triple) => triple.quantity === quantity));
  return {
    sensorId,
    tickUnitS: 1e-6,
    accelRateHz: profile.nominalRateHz,
    gyroRateHz: gyro ? profile.nominalRateHz : null,
    accelScaleMps2PerLsb: accel!.outScaleSi,
    gyroScaleRadpsPerLsb: gyro?.outScaleSi ?? null,
    accelRangeMps2: accel!.rangeSi,
    gyroRangeRadps: gyro?.rangeSi ?? null,
    filterDelayS: profile.filterDelayS,
    accelAxes: [1, 2, 3],
    gyroAxes: [1, 2, 3],
    placement: profile.placement,
    firmwareVersion: { major: 0, minor: 0, patch: 0 },
  };
}

export class ProfileTranslator {
  readonly #decoders: readonly RowDecoder[];
  readonly #axes: 6 | 3;
  readonly #clock: RowClock;
  readonly #pairs: boolean;
  readonly #waiting: Readonly<Record<'accel' | 'gyro', OneRow[]>> = { accel: [], gyro: [] };
  readonly #pairWithinS: number;
  readonly #problems: Partial<Record<ProfileProblem, number>> = {};
  #unpaired = 0;
  /** By how much the gyroscope's part of a row comes after the accelerometer's. */
  #usuallyApartS = 0;
  #droppedInRow = 0;
  /** Rows that came since the last packet and could not be used: they count as lost. */
  #dropped = 0;
  #rowsANotification = 1;
  #startNumber: number;
  #sequence = 0;
  #sampleIndex = 0;

  /** @param startNumber of the first start, 0..255; another one than that of the connection before. */
  constructor(profile: BoardProfile, startNumber: number) {
    const { streams, nominalRateHz } = profile;
    this.#decoders = streams.map(openRowDecoder);
    this.#axes = hasQuantity(streams, 'gyro') ? 6 : 3;
    this.#pairs = streams.length > 1;
    this.#pairWithinS = 0.5 / nominalRateHz;
    // The first packet is a restart, which takes the next number.
    this.#startNumber = (startNumber + 255) % 256;
    const counted = streams.find(({ triples }) => triples.some(({ quantity }) => quantity === 'accel'));
    this.#clock = new RowClock({
      nominalRateHz,
      tickUnitS: counted?.tick?.unitS ?? null,
      tickModulo: counted?.mode === 'binary' ? moduloOf(counted.tick?.type) : null,
      sequenceModulo: counted?.mode === 'binary' ? moduloOf(counted.sequence?.type) : null,
    });
  }

  counts(): TranslationCounts {
    return { problems: { ...this.#problems }, unpaired: this.#unpaired };
  }

  /** Takes a notification of the profile's n-th stream. Never throws on data. */
  push(streamIndex: number, bytes: Uint8Array, hostTimeS: number): readonly TranslatedPacket[] {
    const packets: TranslatedPacket[] = [];
    for (const decoded of this.#decoders[streamIndex]?.push(bytes) ?? []) {
      if (decoded.kind === 'problem') {
        this.#problems[decoded.problem] = (this.#problems[decoded.problem] ?? 0) + 1;
        this.#dropped += this.#rowsANotification;
      } else if (this.#pairs) {
        packets.push(...this.#pair(decoded.rows, hostTimeS));
      } else {
        packets.push(...this.#translate(decoded.rows, hostTimeS));
      }
    }
    return packets;
  }

  /**
   * Rows whose quantities come apart: the oldest of both are one row where they came as far from each other as they
   * usually do, to within half a sample; else the older one has lost its partner.
   */
  #pair(rows: ProfileRows, hostTimeS: number): readonly TranslatedPacket[] {
    for (const quantity of quantities) {
      const values = rows[quantity];
      for (let row = 0; values !== null && row < rows.count; row++) {
        const waiting = this.#waiting[quantity];
        const { sequence } = rows;
        waiting.push({ values: values.subarray(3 * row, 3 * row + 3), sequence, tick: rows.tick, hostTimeS });
        if (waiting.length > maxWaiting) this.#drop(quantity);
      }
    }
    const { accel, gyro } = this.#waiting;
    const packets: TranslatedPacket[] = [];
    while (accel.length > 0 && gyro.length > 0) {
      const first = accel[0]!;
      const second = gyro[0]!;
      const apartS = second.hostTimeS - first.hostTimeS;
      const oddS = apartS - this.#usuallyApartS;
      if (Math.abs(oddS) > this.#pairWithinS && this.#droppedInRow < patience) {
        this.#droppedInRow += 1;
        this.#drop(oddS > 0 ? 'accel' : 'gyro');
        continue;
      }
      // A board that sends its second quantity in the next connection event does so always.
      this.#usuallyApartS += this.#droppedInRow >= patience ? oddS : 0.1 * oddS;
      this.#droppedInRow = 0;
      accel.shift();
      gyro.shift();
      const { sequence, tick } = first;
      const rows = { count: 1, accel: first.values, gyro: second.values, sequence, tick };
      packets.push(...this.#translate(rows, Math.max(first.hostTimeS, second.hostTimeS)));
    }
    return packets;
  }

  #drop(quantity: 'accel' | 'gyro'): void {
    this.#waiting[quantity].shift();
    this.#unpaired += 1;
    if (quantity === 'accel') this.#dropped += 1;
  }

  #translate(rows: ProfileRows, hostTimeS: number): readonly TranslatedPacket[] {
    const timing = this.#clock.take(rows.count, rows, hostTimeS, this.#dropped);
    if (timing.restart) {
      this.#startNumber = (this.#startNumber + 1) % 256;
      this.#sequence = 0;
      this.#sampleIndex = 0;
    } else {
      // At least so many as lost rows would have taken, and at least one, so that the loss shows.
      const { missingPackets, missingRows } = timing;
      this.#sequence += Math.max(missingRows > 0 ? missingPackets : 0, Math.ceil(missingRows / this.#mostRows()));
      this.#sampleIndex += missingRows;
    }
    this.#dropped = 0;
    if (!this.#pairs) this.#rowsANotification = rows.count;
    const packets: TranslatedPacket[] = [];
    for (let from = 0; from < rows.count; from += this.#mostRows()) {
      const count = Math.min(this.#mostRows(), rows.count - from);
      const bytes = encodeNotification({
        form: 'full',
        startNumber: this.#startNumber,
        sequence: this.#sequence % 65_536,
        tick: wrap(timing.tickUs + Math.round(from * timing.periodS * 1e6)),
        sampleIndex: this.#sampleIndex % 2 ** 32,
        axes: this.#axes,
        samples: this.#interleave(rows, from, count),
      });
      packets.push({ bytes, hostTimeS });
      this.#sequence += 1;
      this.#sampleIndex += count;
    }
    return packets;
  }

  #mostRows(): number {
    return maxSamplesPerNotification(this.#axes);
  }

  #interleave(rows: ProfileRows, from: number, count: number): Int16Array {
    const samples = new Int16Array(this.#axes * count);
    for (let row = 0; row < count; row++) {
      const at = 3 * (from + row);
      samples.set(rows.accel!.subarray(at, at + 3), this.#axes * row);
      if (this.#axes === 6) samples.set(rows.gyro!.subarray(at, at + 3), this.#axes * row + 3);
    }
    return samples;
  }
}

function moduloOf(type: Parameters<typeof numberTypes.bytesOf>[0] | undefined): number | null {
  return type === undefined || numberTypes.isFloat(type) ? null : 2 ** (8 * numberTypes.bytesOf(type));
}
