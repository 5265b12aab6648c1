import type { Clock } from '../foundation/clock.ts';

/** A thing with the time at which it is due, seconds on the clock. */
export interface Due<Item> {
  readonly atS: number;
  readonly item: Item;
}

/**
 * Hands out what an iterator gives, each item at its time. When the process was held up, what is overdue comes at
 * once and in order, as from a radio that kept on receiving.
 */
export class PacedPlayer<Item> {
  readonly #clock: Clock;
  readonly #items: Iterator<Due<Item>>;
  readonly #play: (item: Item, atS: number) => void;
  readonly #end: () => void;
  #next: Due<Item> | null = null;
  #cancel: (() => void) | null = null;
  #stopped = false;

  /** @param items due times in rising order; taken one by one as they are needed. */
  constructor(
    clock: Clock,
    items: Iterator<Due<Item>>,
    play: (item: Item, atS: number) => void,
    end: () => void = () => {},
  ) {
    this.#clock = clock;
    this.#items = items;
    this.#play = play;
    this.#end = end;
  }

  start(): void {
    this.#take();
    this.#wait();
  }

  stop(): void {
    this.#stopped = true;
    this.#cancel?.();
    this.#cancel = null;
  }

  #take(): void {
    const result = this.#items.next();
    this.#next = result.done ? null : result.value;
  }

  #wait(): void {
    if (this.#stopped) return;
    if (this.#next === null) {
      this.#stopped = true;
      this.#end();
      return;
    }
    this.#cancel = this.#clock.schedule(this.#next.atS, () => this.#playDue());
  }

  #playDue(): void {
    // The clock is read once: new items that come due meanwhile wait for the next turn and let others run.
    const nowS = this.#clock.nowS();
    while (!this.#stopped && this.#next !== null && this.#next.atS <= nowS) {
      const { item, atS } = this.#next;
      this.#take();
      this.#play(item, atS);
    }
    this.#wait();
  }
}
