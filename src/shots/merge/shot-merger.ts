import { resolveParams } from '../../foundation/parameters.ts';
import type { RejectedFlight, Shot, ShotEvent } from '../shot.ts';
import type { HostLine } from './host-line.ts';
import { toHost } from './host-line.ts';
import { type HeardShot, hostRelease, releaseDistanceS } from './match-shots.ts';
import { type MergeParams, mergeParams } from './merge-params.ts';
import { type MergedShot, mergeShots, singleShot } from './merge-shots.ts';

/** What comes out: one record a shot, or what the ball showed to be none. */
export type MergedEvent =
  | { readonly kind: 'shot'; readonly shot: MergedShot }
  | { readonly kind: 'rejected'; readonly place: 'ball' | 'wrist'; readonly rejected: RejectedFlight };

/** Everything the merger remembers: plain data, storable as JSON. */
export interface ShotMergerState {
  readonly waiting: { readonly place: 'ball' | 'wrist'; readonly heard: HeardShot; readonly untilHostS: number }[];
  /** Flights of the ball that were no shots, host seconds. */
  readonly refused: { readonly startHostS: number; readonly errorS: number; readonly rejected: RejectedFlight }[];
}

/**
 * Puts together, as they come, the shots of one ball sensor and one arm sensor of the same player.
 *
 * A shot waits for its partner for `waitS` of host time, by the partner's events or by the clock: the own sensor's may be ahead. Early estimates are not merged: the caller shows them as they are.
 * A throw that only the arm took for a shot is rejected when the ball's flight was none.
 */
export class ShotMerger {
  private readonly params: MergeParams;
  private waiting: ShotMergerState['waiting'][number][];
  private refused: ShotMergerState['refused'][number][];

  /** @throws SeamwiseError for parameters outside their range. */
  constructor(params: Partial<MergeParams> = {}, state: ShotMergerState | null = null) {
    this.params = resolveParams(mergeParams, params);
    this.waiting = [...(state?.waiting ?? [])];
    this.refused = [...(state?.refused ?? [])];
  }

  /**
   * Takes one event of one sensor.
   *
   * @param clock of that sensor, as it is known by now; null before there were host times: the event then passes alone.
   * @param nowHostS host time of the event, up to which this sensor has told everything: shots of the other that waited for it longer come out first.
   */
  push(
    place: 'ball' | 'wrist',
    sensorId: string,
    event: ShotEvent,
    clock: HostLine | null,
    nowHostS: number,
  ): MergedEvent[] {
    const out = this.release((untilHostS, ofPlace) => ofPlace !== place && untilHostS <= nowHostS);
    if (event.kind === 'rejected') return [...out, ...this.takeRejection(place, event.rejected, clock)];
    if (event.shot.stage === 'early') return out;
    return [...out, ...this.takeShot(place, sensorId, event.shot, clock, nowHostS)];
  }

  /** Lets host time pass. @returns shots whose partner did not come, oldest first. */
  advance(nowHostS: number): MergedEvent[] {
    return this.release((untilHostS) => untilHostS <= nowHostS);
  }

  /** @param place whose partner sends nothing more; without it neither does. @returns what waited for that. */
  finish(place?: 'ball' | 'wrist'): MergedEvent[] {
    return this.release((_, ofPlace) => place === undefined || ofPlace === place);
  }

  get waitingCount(): number {
    return this.waiting.length;
  }

  /** @returns a copy of all that is remembered. */
  state(): ShotMergerState {
    return { waiting: [...this.waiting], refused: [...this.refused] };
  }

  private takeShot(
    place: 'ball' | 'wrist',
    sensorId: string,
    shot: Shot,
    clock: HostLine | null,
    nowHostS: number,
  ): MergedEvent[] {
    if (clock === null) {
      const alone: HeardShot = { sensorId, shot, clock: unknownClock };
      return [{ kind: 'shot', shot: singleShot(alone, place) }];
    }
    const heard: HeardShot = { sensorId, shot, clock };
    const release = hostRelease(this.params, heard);
    if (release === null) return [{ kind: 'shot', shot: singleShot(heard, place) }];
    if (place === 'wrist') {
      const refused = this.refused.find(
        ({ startHostS, errorS }) =>
          releaseDistanceS(this.params, release, { hostS: startHostS, standardErrorS: errorS }) !== null,
      );
      if (refused) return [this.overruled(shot, refused.rejected)];
    }
    let nearest: ShotMergerState['waiting'][number] | null = null;
    let least = Number.POSITIVE_INFINITY;
    for (const other of this.waiting) {
      if (other.place === place) continue;
      const theirs = hostRelease(this.params, other.heard);
      const distanceS = theirs === null ? null : releaseDistanceS(this.params, release, theirs);
      if (distanceS === null || distanceS >= least) continue;
      least = distanceS;
      nearest = other;
    }
    if (nearest === null) {
      this.waiting.push({ place, heard, untilHostS: nowHostS + this.params.waitS });
      return [];
    }
    const partner = nearest;
    this.waiting = this.waiting.filter((other) => other !== partner);
    const [ball, wrist] = place === 'ball' ? [heard, partner.heard] : [partner.heard, heard];
    return [{ kind: 'shot', shot: mergeShots(this.params, ball, wrist) }];
  }

  private takeRejection(place: 'ball' | 'wrist', rejected: RejectedFlight, clock: HostLine | null): MergedEvent[] {
    const out: MergedEvent[] = [{ kind: 'rejected', place, rejected }];
    // A dribble or an undecided flight says nothing of a shot at the same moment.
    if (place === 'wrist' || clock === null || !decided.includes(rejected.kind)) return out;
    const start = toHost(clock, rejected.startS);
    const release = { hostS: start.hostS, standardErrorS: start.standardErrorS };
    this.refused.push({ startHostS: start.hostS, errorS: start.standardErrorS, rejected });
    if (this.refused.length > 16) this.refused.shift();
    const stay: ShotMergerState['waiting'][number][] = [];
    for (const other of this.waiting) {
      const theirs = other.place === 'wrist' ? hostRelease(this.params, other.heard) : null;
      const same = theirs !== null && releaseDistanceS(this.params, release, theirs) !== null;
      if (same) out.push(this.overruled(other.heard.shot, rejected));
      else stay.push(other);
    }
    this.waiting = stay;
    return out;
  }

  /** A shot of the arm that was none by the ball's flight. */
  private overruled(shot: Shot, by: RejectedFlight): MergedEvent {
    const startS = shot.liftS ?? shot.releaseS ?? 0;
    return {
      kind: 'rejected',
      place: 'wrist',
      rejected: {
        startS,
        endS: shot.releaseS ?? startS,
        kind: by.kind,
        reason: `the arm moved as in a shot, but the ball did not fly as one: ${by.reason}`,
      },
    };
  }

  private release(isDue: (untilHostS: number, place: 'ball' | 'wrist') => boolean): MergedEvent[] {
    const due = this.waiting.filter(({ untilHostS, place }) => isDue(untilHostS, place));
    this.waiting = this.waiting.filter((one) => !due.includes(one));
    return due.map(({ heard, place }) => ({ kind: 'shot', shot: singleShot(heard, place) }));
  }
}

/** Rejections by which the ball knows that nothing was shot. */
const decided: readonly RejectedFlight['kind'][] = ['pass', 'toss', 'drop', 'rebound'];

const unknownClock: HostLine = {
  referenceS: 0,
  hostTimeS: 0,
  hostTimeStandardErrorS: Number.POSITIVE_INFINITY,
  driftPpm: 0,
  driftStandardErrorPpm: 0,
};
