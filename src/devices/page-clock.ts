import type { Clock } from '../foundation/clock.ts';

/** Questions asked at the start, and the time between the later ones. */
const firstQuestions = 5;
const againS = 30;
/** A page cannot have received what is further from now than this. */
const oldestS = 60;

/**
 * Turns a page's clock into the host's. Both run on one machine at one rate; the distance is that of the question whose
 * answer came back fastest, and wrong by half that time at most.
 */
export class PageClock {
  readonly #clock: Clock;
  readonly #send: (number: number) => void;
  readonly #askedAtS = new Map<number, number>();
  #lastNumber = 0;
  #lastAskedS = Number.NEGATIVE_INFINITY;
  #bestRoundS = Number.POSITIVE_INFINITY;
  #offsetS: number | null = null;

  constructor(clock: Clock, send: (number: number) => void) {
    this.#clock = clock;
    this.#send = send;
  }

  ask(): void {
    this.#lastNumber += 1;
    this.#lastAskedS = this.#clock.nowS();
    this.#askedAtS.set(this.#lastNumber, this.#lastAskedS);
    this.#send(this.#lastNumber);
  }

  /** Asks when it is time to. */
  askAgain(): void {
    if (this.#clock.nowS() - this.#lastAskedS > againS) this.ask();
  }

  take(number: number, pageMs: number): void {
    const askedAtS = this.#askedAtS.get(number);
    if (askedAtS === undefined) return;
    this.#askedAtS.delete(number);
    const nowS = this.#clock.nowS();
    const roundS = nowS - askedAtS;
    if (roundS < this.#bestRoundS) {
      this.#bestRoundS = roundS;
      this.#offsetS = (askedAtS + nowS) / 2 - pageMs / 1000;
    }
    if (this.#lastNumber < firstQuestions) this.ask();
  }

  /** @returns host time of a receipt; now, where the page's time is not known yet or makes no sense. */
  hostTimeS(pageMs: number): number {
    const nowS = this.#clock.nowS();
    if (this.#offsetS === null || !Number.isFinite(pageMs)) return nowS;
    const hostTimeS = pageMs / 1000 + this.#offsetS;
    if (nowS - hostTimeS > oldestS) return nowS;
    return Math.min(hostTimeS, nowS);
  }
}
