import type { RejectedFlight, Shot, ShotEvent } from '../../shots/shot.ts';

/** Gathers what the pipeline says: final shots and rejected flights, early shots replaced by what they became. */
export class ShotCollector {
  readonly #shots: Shot[] = [];
  readonly #rejected: RejectedFlight[] = [];
  #open: Shot | null = null;
  #endsInFlight = false;

  /** Takes an event while samples are coming. */
  take(event: ShotEvent): void {
    if (event.kind === 'rejected') {
      this.#rejected.push(event.rejected);
      this.#open = null;
    } else if (event.shot.stage === 'early') {
      this.#open = event.shot;
    } else {
      this.#shots.push(event.shot);
      this.#open = null;
    }
  }

  /** Takes what the pipeline says after the last sample. */
  finish(events: readonly ShotEvent[]): void {
    for (const event of events) {
      this.take(event);
      if (event.kind !== 'shot' || event.shot.stage !== 'final') continue;
      // A sensor on the arm never sees the end of a flight.
      const seen = event.shot.timeReasons.contact !== 'not-observable-from-wrist';
      if (seen && event.shot.contactS === null) this.#endsInFlight = true;
    }
    if (this.#open) this.#endsInFlight = true;
  }

  get shots(): readonly Shot[] {
    return this.#shots;
  }

  get rejected(): readonly RejectedFlight[] {
    return this.#rejected;
  }

  /** True when the samples ended before the last flight did. */
  get endsInFlight(): boolean {
    return this.#endsInFlight;
  }
}
