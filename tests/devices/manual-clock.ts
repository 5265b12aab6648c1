import type { Clock } from '../../src/foundation/clock.ts';

interface ScheduledCall {
  readonly atS: number;
  readonly callback: () => void;
}

/** A clock that stands still until told. */
export class ManualClock implements Clock {
  #nowS: number;
  readonly #calls: ScheduledCall[] = [];

  constructor(nowS = 1_700_000_000) {
    this.#nowS = nowS;
  }

  nowS(): number {
    return this.#nowS;
  }

  schedule(atS: number, callback: () => void): () => void {
    const call = { atS, callback };
    this.#calls.push(call);
    return () => {
      const at = this.#calls.indexOf(call);
      if (at >= 0) this.#calls.splice(at, 1);
    };
  }

  /** Lets time pass; what becomes due is called in order, each at its own time. */
  advance(durationS: number): void {
    const endS = this.#nowS + durationS;
    for (;;) {
      let first: ScheduledCall | undefined;
      for (const call of this.#calls) if (call.atS <= endS && (!first || call.atS < first.atS)) first = call;
      if (!first) break;
      this.#calls.splice(this.#calls.indexOf(first), 1);
      this.#nowS = Math.max(this.#nowS, first.atS);
      first.callback();
    }
    this.#nowS = endS;
  }

  /** Lets time pass as in a process that was held up: what became due is called only at the end. */
  jump(durationS: number): void {
    this.#nowS += durationS;
    const due = this.#calls.filter((call) => call.atS <= this.#nowS).sort((one, other) => one.atS - other.atS);
    for (const call of due) this.#calls.splice(this.#calls.indexOf(call), 1);
    for (const call of due) call.callback();
  }
}
