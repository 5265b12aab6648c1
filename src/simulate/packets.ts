import type { Random } from './random.ts';
import type { SampleRun } from './sensing.ts';
import type { SensorModel } from './sensor-model.ts';

/** One packet of samples as the sensor sends it, and what became of it. */
export interface SimulatedPacket {
  /** Packets since the start, not wrapped. */
  readonly sequence: number;
  readonly firstSampleIndex: number;
  readonly length: number;
  /** Device seconds of each sample since session time zero, exact. */
  readonly deviceTimeS: Float64Array;
  /** True session seconds of the first and last sample. */
  readonly firstTrueS: number;
  readonly lastTrueS: number;
  /** Device tick stamped on the first sample, u32, with the stamp's jitter. */
  readonly tick: number;
  /** ax ay az gx gy gz a sample, SI. */
  readonly values: Float64Array;
  readonly clipped: Uint8Array;
  readonly lost: boolean;
  /** Seconds since the Unix epoch at which the host gets it. */
  readonly hostTimeS: number;
}

/** A stretch of true time in which every packet is lost. */
export interface LossWindow {
  readonly fromS: number;
  readonly toS: number;
}

/** Cuts samples into packets, stamps them, loses some and delays the rest. */
export class Packetiser {
  readonly #sensor: SensorModel;
  readonly #random: Random;
  readonly #delay: Random;
  readonly #perPacket: number;
  #waiting: { timeS: number; values: Float64Array; clipped: number }[] = [];
  #sequence = 0;
  #nextIndex = 0;
  #inLoss = false;
  #stallFromS: number;
  #stallToS: number;
  #lastHostS = Number.NEGATIVE_INFINITY;

  constructor(sensor: SensorModel, random: Random) {
    this.#sensor = sensor;
    this.#random = random.fork('loss');
    this.#delay = random.fork('delay');
    this.#perPacket = Math.max(1, Math.min(19, Math.floor(sensor.link.packetSpanS * sensor.rateHz)));
    [this.#stallFromS, this.#stallToS] = this.#nextStall(0);
  }

  push(run: SampleRun, lossWindows: readonly LossWindow[]): SimulatedPacket[] {
    const packets: SimulatedPacket[] = [];
    for (let i = 0; i < run.length; i++) {
      this.#waiting.push({
        timeS: run.timeS[i] as number,
        values: run.values.subarray(6 * i, 6 * i + 6),
        clipped: run.clipped[i] as number,
      });
      if (this.#waiting.length === this.#perPacket) packets.push(this.#close(lossWindows));
    }
    // The buffer of this run may be given away: what waits keeps its own copy.
    for (const waiting of this.#waiting) waiting.values = Float64Array.from(waiting.values);
    return packets;
  }

  #close(lossWindows: readonly LossWindow[]): SimulatedPacket {
    const { link } = this.#sensor;
    const rows = this.#waiting;
    this.#waiting = [];
    const values = new Float64Array(6 * rows.length);
    const clipped = new Uint8Array(rows.length);
    const deviceTimeS = new Float64Array(rows.length);
    rows.forEach((row, i) => {
      values.set(row.values, 6 * i);
      clipped[i] = row.clipped;
      deviceTimeS[i] = row.timeS * (1 + link.clockDrift);
    });
    const firstTrueS = rows[0]?.timeS as number;
    const lastTrueS = rows[rows.length - 1]?.timeS as number;
    const jitterS = link.tickJitterS * this.#random.unit();
    const packet: SimulatedPacket = {
      sequence: this.#sequence,
      firstSampleIndex: this.#nextIndex,
      length: rows.length,
      deviceTimeS,
      firstTrueS,
      lastTrueS,
      tick: wrapTick(link.startTick + Math.round(((deviceTimeS[0] as number) + jitterS) / link.tickUnitS)),
      values,
      clipped,
      lost: this.#lose() || lossWindows.some((window) => lastTrueS >= window.fromS && firstTrueS <= window.toS),
      hostTimeS: link.hostStartS + this.#arrival(lastTrueS),
    };
    this.#sequence++;
    this.#nextIndex += rows.length;
    return packet;
  }

  #lose(): boolean {
    const { lossShare, lossRunLength } = this.#sensor.link;
    if (lossRunLength <= 1) return this.#random.chance(lossShare);
    // Two states: runs end with chance 1/length, and begin so often that the share comes out.
    const begin = lossShare / (lossRunLength * (1 - lossShare));
    this.#inLoss = this.#random.chance(this.#inLoss ? 1 - 1 / lossRunLength : begin);
    return this.#inLoss;
  }

  #arrival(sentS: number): number {
    const { delayFloorS, delayMeanS } = this.#sensor.link;
    let arrivesS = sentS + delayFloorS + this.#delay.exponential(delayMeanS);
    while (arrivesS > this.#stallToS) [this.#stallFromS, this.#stallToS] = this.#nextStall(this.#stallToS);
    if (arrivesS > this.#stallFromS) arrivesS = this.#stallToS;
    this.#lastHostS = Math.max(this.#lastHostS, arrivesS);
    return this.#lastHostS;
  }

  #nextStall(afterS: number): [number, number] {
    const { stallsPerS, stallS } = this.#sensor.link;
    if (!(stallsPerS > 0)) return [Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY];
    const fromS = afterS + this.#delay.exponential(1 / stallsPerS);
    return [fromS, fromS + this.#delay.between(0.2, 1) * stallS];
  }
}

export function wrapTick(tick: number): number {
  return ((tick % 4294967296) + 4294967296) % 4294967296;
}
