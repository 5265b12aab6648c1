/**
 * Times and counts of a board's rows where it sends no stream format: how many rows are missing before a packet, and the
 * device tick of its first row in microseconds.
 *
 * With a tick of the board, that is the time, and missing rows follow from the sequence or else from the tick itself. Without
 * one, times of receipt stand in for it, smoothed by a line that is fitted as it grows and then forgets (g-h filter of
 * expanding memory; E. Brookner, "Tracking and Kalman Filtering Made Easy", 1998, chapter 1): radio and host hand packets
 * over late and in bunches.
 * Rows that such a board loses are seen only by its sequence, if it has one; where it has neither, a silence begins anew.
 */

export interface RowClockOptions {
  readonly nominalRateHz: number;
  /** Of the board's tick; null where there is none. */
  readonly tickUnitS: number | null;
  /** Where tick and sequence begin anew; null where they do not. */
  readonly tickModulo: number | null;
  readonly sequenceModulo: number | null;
}

export interface RowTiming {
  /** Counters begin anew. */
  readonly restart: boolean;
  readonly missingPackets: number;
  readonly missingRows: number;
  /** Of the first row, microseconds, u32. */
  readonly tickUs: number;
  /** From row to row as far as it is known. */
  readonly periodS: number;
}

/** A silence of so long, in a board without tick and sequence, may hide any number of rows. */
const silenceS = 0.5;
/** A longer loss than this is taken for a new start. */
const longestLossS = 60;
/** Weight of the newest packet once the line has grown; about a hundred packets of memory. */
const leastGain = 0.02;

export class RowClock {
  readonly #options: RowClockOptions;
  #lastSequence: number | null = null;
  #lastTick: number | null = null;
  #lastRows = 0;
  #lastHostS = 0;
  /** Of the last packet's first row, by the board's tick and as it was given out. */
  #deviceS = 0;
  #timeS = 0;
  #periodS: number;
  #periodKnown = false;
  #packets = 0;

  constructor(options: RowClockOptions) {
    this.#options = options;
    this.#periodS = 1 / options.nominalRateHz;
  }

  /**
   * @param tick as the board sent it, or null; `sequence` likewise.
   * @param dropped rows since the last packet that came and could not be used.
   */
  take(
    rows: number,
    { sequence, tick }: { readonly sequence: number | null; readonly tick: number | null },
    hostTimeS: number,
    dropped: number,
  ): RowTiming {
    const timing =
      this.#packets === 0
        ? this.#begin(tick, hostTimeS)
        : tick === null
          ? this.#takeUnticked(rows, sequence, hostTimeS, dropped)
          : this.#takeTicked(sequence, tick, hostTimeS, dropped);
    this.#packets += 1;
    this.#lastSequence = sequence;
    this.#lastTick = tick;
    this.#lastRows = rows;
    this.#lastHostS = hostTimeS;
    return timing;
  }

  #begin(tick: number | null, hostTimeS: number): RowTiming {
    this.#timeS = tick === null ? hostTimeS : tick * this.#options.tickUnitS!;
    this.#deviceS = this.#timeS;
    this.#packets = 0;
    return this.#timing(true, 0, 0);
  }

  #takeTicked(sequence: number | null, tick: number, hostTimeS: number, dropped: number): RowTiming {
    const { tickModulo, tickUnitS } = this.#options;
    let ticks = tick - this.#lastTick!;
    // Forward by less than half a turn; anything else is backward.
    if (tickModulo !== null && ticks < 0) ticks += tickModulo;
    const stepS = ticks * tickUnitS!;
    const backward = !(ticks >= 0) || (tickModulo !== null && ticks > tickModulo / 2);
    if (backward || stepS > longestLossS) return this.#begin(tick, hostTimeS);
    const lostPackets = this.#lostPackets(sequence);
    const perRowS = stepS / this.#lastRows;
    let missing = lostPackets === null ? 0 : lostPackets * this.#lastRows;
    if (lostPackets === null) {
      // Until a period is known the first steps may have losses in them: the shortest is the one to go by.
      if (!this.#periodKnown || perRowS < 0.5 * this.#periodS) this.#periodS = Math.max(perRowS, tickUnitS!);
      else missing = Math.max(0, Math.round(stepS / this.#periodS) - this.#lastRows);
    }
    missing = Math.max(missing, dropped);
    const observedS = stepS / (this.#lastRows + missing);
    if (observedS > 0) {
      this.#periodS = this.#periodKnown ? this.#periodS + 0.05 * (observedS - this.#periodS) : observedS;
      this.#periodKnown = true;
    }
    this.#deviceS += stepS;
    // A tick of milliseconds may stand still from one packet to the next; time does not.
    this.#timeS = Math.max(this.#deviceS, this.#timeS + 1e-6);
    return this.#timing(false, lostPackets ?? Math.ceil(missing / this.#lastRows), missing);
  }

  #takeUnticked(rows: number, sequence: number | null, hostTimeS: number, dropped: number): RowTiming {
    const lostPackets = this.#lostPackets(sequence);
    const silentS = hostTimeS - this.#lastHostS;
    if (silentS > longestLossS || silentS < 0 || (lostPackets === null && silentS > silenceS + rows * this.#periodS)) {
      return this.#begin(null, hostTimeS);
    }
    const missing = Math.max((lostPackets ?? 0) * this.#lastRows, dropped);
    const steps = this.#lastRows + missing;
    const foretoldS = this.#timeS + steps * this.#periodS;
    const lagS = hostTimeS - foretoldS;
    const n = this.#packets + 1;
    const gain = Math.max(leastGain, (2 * (2 * n - 1)) / (n * (n + 1)));
    const rateGain = Math.max(leastGain ** 2 / 2, 6 / (n * (n + 1)));
    // A line through two packets would take their jitter for a rate.
    if (n > 8) this.#periodS = this.#bounded(this.#periodS + (rateGain * lagS) / steps);
    // Time never runs backward, however early a packet comes.
    this.#timeS = Math.max(foretoldS + gain * lagS, this.#timeS + 0.5 * steps * this.#periodS);
    return this.#timing(false, lostPackets ?? Math.ceil(missing / this.#lastRows), missing);
  }

  /** Real rates are within a third of what they are said to be. */
  #bounded(periodS: number): number {
    const nominalS = 1 / this.#options.nominalRateHz;
    return Math.max(0.67 * nominalS, Math.min(1.5 * nominalS, periodS));
  }

  #lostPackets(sequence: number | null): number | null {
    const modulo = this.#options.sequenceModulo;
    if (sequence === null || this.#lastSequence === null) return null;
    const ahead = modulo === null ? sequence - this.#lastSequence : (sequence - this.#lastSequence + modulo) % modulo;
    // A number that repeats or runs backward counts nothing.
    return Number.isInteger(ahead) && ahead >= 1 && ahead <= 10_000 ? ahead - 1 : 0;
  }

  #timing(restart: boolean, missingPackets: number, missingRows: number): RowTiming {
    const tickUs = wrap(Math.round(this.#timeS * 1e6));
    return { restart, missingPackets, missingRows, tickUs, periodS: this.#periodS };
  }
}

export function wrap(tick: number): number {
  return ((tick % 2 ** 32) + 2 ** 32) % 2 ** 32;
}
