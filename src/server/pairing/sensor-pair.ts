import type { SensorStateChange } from '../../live/sensor-streams.ts';
import { placeOf, type SensorPlace } from '../../live/shot-tracker.ts';
import { decodeSensorDescription } from '../../protocol/sensor-description.ts';
import { type HostLine, toHost } from '../../shots/merge/host-line.ts';
import { type MergedEvent, ShotMerger } from '../../shots/merge/shot-merger.ts';
import type { Shot } from '../../shots/shot.ts';
import type { PublishedEvent } from '../live-hub.ts';

interface StreamingSensor {
  readonly place: SensorPlace;
  streamIndex: number;
}

/**
 * Puts a ball and an arm sensor together while there is exactly one of each: they are then one player's, and a shot that both
 * saw becomes one record. With more sensors nobody can know here whose are whose, and each tells its own shots.
 */
export class SensorPair {
  readonly #clockOf: (sensorId: string) => HostLine | null;
  readonly #sensors = new Map<string, StreamingSensor>();
  /** Sensors that have opened, and whose first words are still on their way. */
  readonly #expected = new Map<string, StreamingSensor>();
  #merger: ShotMerger | null = null;
  /** One of the pair that has ended: the other may be behind, and its shots still belong to those that wait. */
  #gone: (StreamingSensor & { readonly sensorId: string }) | null = null;

  /** @param clockOf host time over a sensor's recording time, as far as it is known. */
  constructor(clockOf: (sensorId: string) => HostLine | null) {
    this.#clockOf = clockOf;
  }

  /** A sensor opens: shots of its partner wait for it from now on, however long it takes until its own stream is told. */
  expect({ sensorId, state, description }: SensorStateChange): void {
    const place = state === 'streaming' && description !== null ? placeIn(description) : null;
    if (!place || this.#sensors.has(sensorId)) return;
    this.#expected.set(sensorId, { place, streamIndex: 0 });
    if (this.#isPair()) this.#merger ??= new ShotMerger();
  }

  /** Takes a change of a sensor's state, in order with its shots. @returns shots that wait no longer, since no partner can come any more. */
  takeState({ sensorId, state, description, hostTimeS }: SensorStateChange): PublishedEvent[] {
    const before = this.#sensors.get(sensorId);
    if (state === 'streaming' || state === 'ended') this.#expected.delete(sensorId);
    if (state === 'streaming' && description !== null) {
      const place = placeIn(description);
      if (place) this.#sensors.set(sensorId, { place, streamIndex: 0 });
    } else if (state === 'ended') this.#sensors.delete(sensorId);
    if (this.#isPair()) {
      this.#merger ??= new ShotMerger();
      this.#gone = null;
      return [];
    }
    const [left, ...more] = this.#all();
    const isLast = left !== undefined && more.length === 0;
    if (this.#merger === null || !isLast) return this.finish(hostTimeS);
    const [, { place }] = left;
    if (state === 'ended' && before) this.#gone = { ...before, sensorId };
    if (!this.#gone || this.#gone.place === place) return this.finish(hostTimeS);
    return this.#withoutPartner(this.#merger, place, hostTimeS);
  }

  /** @returns what is to be told: the event itself without a pair, one record for both sensors with one. */
  take(published: PublishedEvent): PublishedEvent[] {
    const sensor = this.#sensors.get(published.sensorId);
    const merger = this.#merger;
    if (!merger || !sensor) return [this.#withRelease(published)];
    const { sensorId, event, hostTimeS } = published;
    sensor.streamIndex = published.streamIndex;
    if (event.kind === 'shot' && event.shot.stage === 'early') {
      // The ball's estimate is the one that its final shot takes the place of.
      return sensor.place === 'ball' ? [this.#withRelease(published)] : [];
    }
    const told = this.#told(merger.push(sensor.place, sensorId, event, this.#clockOf(sensorId), hostTimeS), hostTimeS);
    return this.#gone ? [...told, ...this.#withoutPartner(merger, sensor.place, hostTimeS)] : told;
  }

  /** Lets time pass. @returns shots whose partner did not come. */
  advance(nowHostS: number): PublishedEvent[] {
    if (!this.#merger) return [];
    const told = this.#told(this.#merger.advance(nowHostS), nowHostS);
    if (this.#gone && this.#merger.waitingCount === 0) this.finish(nowHostS);
    return told;
  }

  /** @returns all shots that still wait. */
  finish(nowHostS: number): PublishedEvent[] {
    const merger = this.#merger;
    this.#merger = null;
    this.#gone = null;
    return merger ? this.#told(merger.finish(), nowHostS) : [];
  }

  /** Tells what waits for the one that is gone, and ends the pair where nothing of that one waits either. */
  #withoutPartner(merger: ShotMerger, place: SensorPlace, hostTimeS: number): PublishedEvent[] {
    const told = this.#told(merger.finish(place), hostTimeS);
    return merger.waitingCount === 0 ? [...told, ...this.finish(hostTimeS)] : told;
  }

  #told(events: readonly MergedEvent[], hostTimeS: number): PublishedEvent[] {
    return events.flatMap((merged): PublishedEvent[] => {
      if (merged.kind === 'shot') {
        const own = merged.shot.ball ?? merged.shot.wrist;
        return own
          ? [this.#published(own.sensorId, hostTimeS, { kind: 'shot', shot: { ...merged.shot, index: own.index } })]
          : [];
      }
      const gone = this.#gone?.place === merged.place ? this.#gone.sensorId : null;
      const sensorId = this.#onlyOne(merged.place) ?? gone;
      return sensorId === null
        ? []
        : [this.#published(sensorId, hostTimeS, { kind: 'rejected', rejected: merged.rejected })];
    });
  }

  #published(sensorId: string, hostTimeS: number, event: PublishedEvent['event']): PublishedEvent {
    const gone = this.#gone?.sensorId === sensorId ? this.#gone : null;
    const streamIndex = (this.#sensors.get(sensorId) ?? gone)?.streamIndex ?? 0;
    return this.#withRelease({ sensorId, streamIndex, hostTimeS, event });
  }

  /** A shot is told when it is over, or when its partner did not come: that is seconds after its release. */
  #withRelease(published: PublishedEvent): PublishedEvent {
    const { event, sensorId } = published;
    const clock = this.#clockOf(sensorId);
    if (event.kind !== 'shot' || clock === null) return published;
    return { ...published, releaseHostS: releaseHostS(event.shot, clock) };
  }

  #onlyOne(place: SensorPlace): string | null {
    const there = this.#all().filter(([, sensor]) => sensor.place === place);
    return there.length === 1 ? (there[0]?.[0] ?? null) : null;
  }

  #isPair(): boolean {
    return this.#onlyOne('ball') !== null && this.#onlyOne('wrist') !== null;
  }

  #all(): (readonly [string, StreamingSensor])[] {
    return [...this.#sensors, ...this.#expected];
  }
}

/** @returns host time of a shot's release, or of what stands nearest to it; null where the shot has no time at all. */
export function releaseHostS({ releaseS, contactS, liftS, pickupS }: Shot, clock: HostLine): number | null {
  const timeS = releaseS ?? contactS ?? liftS ?? pickupS;
  return timeS === null ? null : toHost(clock, timeS).hostS;
}

function placeIn(description: Uint8Array): SensorPlace | null {
  try {
    return placeOf(decodeSensorDescription(description).placement)?.place ?? null;
  } catch {
    return null;
  }
}
