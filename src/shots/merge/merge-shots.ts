/**
 * One record of a shot that a ball sensor and a sensor on the arm both saw.
 *
 * Each number comes from the sensor that knows it better and says so in `source`; where both know it and differ by more
 * than their errors together explain, it carries a flag. Times are of the ball's recording; those of the arm are carried over
 * by the two clocks' lines to host time and widened by the error of that.
 */
import { type Measured, type MeasuredValue, measured } from '../../foundation/measured.ts';
import type { Shot, ShotMeasureName, ShotTime } from '../shot.ts';
import { shotMeasureNames, shotTimes } from '../shot.ts';
import { fromHost, toHost } from './host-line.ts';
import type { HeardShot } from './match-shots.ts';
import type { MergeParams } from './merge-params.ts';

/** A shot of one or two sensors. */
export interface MergedShot extends Shot {
  /** Whose recording time the times are in. */
  readonly timesOf: 'ball' | 'wrist';
  readonly ball: { readonly sensorId: string; readonly index: number } | null;
  readonly wrist: { readonly sensorId: string; readonly index: number } | null;
  /** Which sensor each time came from; null where the time is. */
  readonly timeSources: Readonly<Record<ShotTime, 'ball' | 'wrist' | null>>;
  /** What the sensors say differently of the shot as a whole or of its times. */
  readonly flags: readonly MergeFlag[];
}

export const mergeFlags = {
  'start-kind-differs': 'the two sensors saw different starts of the shot',
  'pickup-differs': 'the two sensors place the pickup further apart than their errors explain',
  'lift-differs': 'the two sensors place the lift further apart than their errors explain',
  'release-differs': 'the two sensors place the release further apart than their errors explain',
  'paired-by-contact': "the ball's release was lost; the pair was found by its contact",
} as const;
export type MergeFlag = keyof typeof mergeFlags;

/** Flag of a measure whose other sensor says something else. */
export const measureDiffers = { ball: 'differs-from-wrist', wrist: 'differs-from-ball' } as const;

/** Measures of the ball's way, whose counterpart at the wrist is another body's. */
const ofAnotherBody: Partial<Record<ShotMeasureName, 'M' | 'S'>> = {
  dipDepthM: 'M',
  sidePathM: 'M',
  pauseS: 'S',
  liftToReleaseS: 'S',
};

/** @returns the record of a shot that only one sensor saw. */
export function singleShot(heard: HeardShot, place: 'ball' | 'wrist'): MergedShot {
  const { shot, sensorId } = heard;
  const own = { sensorId, index: shot.index };
  return Object.freeze({
    ...shot,
    measures: withSource(shot, place),
    timesOf: place,
    ball: place === 'ball' ? own : null,
    wrist: place === 'wrist' ? own : null,
    timeSources: timeSourcesOf(shot, place),
    flags: [],
  });
}

/** @returns the one record of a pair found by `matchShots`. */
export function mergeShots(params: MergeParams, ball: HeardShot, wrist: HeardShot): MergedShot {
  const flags: MergeFlag[] = [];
  if (ball.shot.releaseS === null) flags.push('paired-by-contact');
  const times = mergeTimes(params, ball, wrist, flags);
  const startKind = ball.shot.startKind === 'unknown' ? wrist.shot.startKind : ball.shot.startKind;
  if (wrist.shot.startKind !== 'unknown' && wrist.shot.startKind !== startKind) flags.push('start-kind-differs');
  const measures = Object.fromEntries(
    shotMeasureNames.map((name) => [
      name,
      chooseMeasure(params, name, ball.shot.measures[name], wrist.shot.measures[name]),
    ]),
  ) as Record<ShotMeasureName, Measured>;
  const pauseSource = measures.pauseS.value === null ? null : measures.pauseS.source;
  return Object.freeze({
    index: ball.shot.index,
    stage: ball.shot.stage,
    startKind,
    ...times,
    contactKind: ball.shot.contactKind,
    pauseAt: (pauseSource === 'wrist' ? wrist : ball).shot.pauseAt,
    measures: Object.freeze(measures),
    timesOf: 'ball',
    ball: { sensorId: ball.sensorId, index: ball.shot.index },
    wrist: { sensorId: wrist.sensorId, index: wrist.shot.index },
    flags: Object.freeze(flags),
  });
}

type Times = Pick<
  MergedShot,
  'pickupS' | 'liftS' | 'releaseS' | 'contactS' | 'timeErrorsS' | 'timeReasons' | 'timeSources'
>;

interface Instant {
  readonly timeS: number;
  /** With the clocks' error where it was carried over. */
  readonly errorS: number;
  readonly from: 'ball' | 'wrist';
}

const keys = { pickup: 'pickupS', lift: 'liftS', release: 'releaseS', contact: 'contactS' } as const;

function mergeTimes(params: MergeParams, ball: HeardShot, wrist: HeardShot, flags: MergeFlag[]): Times {
  const chosen: Partial<Record<ShotTime, Instant>> = {};
  const reasons: Partial<Record<ShotTime, Shot['timeReasons'][ShotTime]>> = {};
  for (const time of shotTimes) {
    const ofBall = instantOf(params, ball, ball, time, 'ball');
    const ofWrist = instantOf(params, wrist, ball, time, 'wrist');
    if (ofBall && ofWrist && time !== 'contact') {
      const body = time === 'lift' ? params.bodySdS : 0;
      const spread = params.differSigmas * Math.hypot(ofBall.errorS, ofWrist.errorS, body);
      if (!(Math.abs(ofBall.timeS - ofWrist.timeS) <= spread)) flags.push(`${time}-differs`);
    }
    // The ball's own time needs no second clock; the arm's fills its gaps.
    const best = ofBall ?? ofWrist;
    if (best) chosen[time] = best;
    else reasons[time] = ball.shot.timeReasons[time] ?? wrist.shot.timeReasons[time];
  }
  const at = <T>(of: (instant: Instant) => T): Record<ShotTime, T | null> =>
    Object.fromEntries(shotTimes.map((time) => [time, chosen[time] ? of(chosen[time]) : null])) as never;
  const { pickup, lift, release, contact } = at((instant) => instant.timeS);
  return {
    pickupS: pickup,
    liftS: lift,
    releaseS: release,
    contactS: contact,
    timeErrorsS: at((instant) => instant.errorS),
    timeReasons: reasons as Shot['timeReasons'],
    timeSources: at((instant) => instant.from),
  };
}

/** A time of a shot in the recording time of `base`. */
function instantOf(
  params: MergeParams,
  heard: HeardShot,
  base: HeardShot,
  time: ShotTime,
  from: 'ball' | 'wrist',
): Instant | null {
  const timeS = heard.shot[keys[time]];
  if (timeS === null) return null;
  const ownErrorS = heard.shot.timeErrorsS[time] ?? 0;
  if (heard === base) return { timeS, errorS: ownErrorS, from };
  const host = toHost(heard.clock, timeS);
  const back = fromHost(base.clock, host.hostS);
  const errorS = Math.hypot(
    ownErrorS,
    host.standardErrorS,
    toHost(base.clock, back).standardErrorS,
    params.hostDelaySdS,
  );
  return { timeS: back, errorS, from };
}

/** The better of two values of one measure. */
function chooseMeasure(params: MergeParams, name: ShotMeasureName, ball: Measured, wrist: Measured): Measured {
  if (ball.value === null && wrist.value === null) {
    // What both cannot know; the arm's reason only where the ball never could.
    return ball.reason === 'not-observable-from-ball' ? wrist : ball;
  }
  if (wrist.value === null) return sourced(ball as MeasuredValue, 'ball', []);
  if (ball.value === null) return sourced(wrist, 'wrist', []);
  const body = ofAnotherBody[name];
  const bodySd = body === 'M' ? params.bodySdM : body === 'S' ? params.bodySdS : 0;
  // Of two bodies the ball is meant; of one quantity the smaller error decides. A model is no rival of a measurement.
  const fromBall = body !== undefined || wrist.source === 'model' || ball.standardError <= wrist.standardError;
  const [best, other] = fromBall ? [ball, wrist] : [wrist, ball];
  const apart = Math.abs(best.value - other.value);
  const spread = Math.hypot(errorToward(best, other.value), errorToward(other, best.value), bodySd);
  const place = fromBall ? 'ball' : 'wrist';
  return sourced(best, place, apart <= params.differSigmas * spread ? [] : [measureDiffers[place]]);
}

/** Standard error on the side of `toward`: where the error is lopsided, its interval's half on that side. */
function errorToward({ value, standardError, interval90 }: MeasuredValue, toward: number): number {
  if (!interval90) return standardError;
  return (toward > value ? interval90[1] - value : value - interval90[0]) / 1.6448536269514722;
}

function sourced(value: MeasuredValue, place: 'ball' | 'wrist', flags: readonly string[]): MeasuredValue {
  const { interval90, source, flags: own = [] } = value;
  const all = [...own, ...flags];
  return measured(value.value, value.standardError, {
    ...(interval90 && { interval90 }),
    source: source === 'model' ? 'model' : place,
    ...(all.length > 0 && { flags: all }),
  });
}

function withSource(shot: Shot, place: 'ball' | 'wrist'): Shot['measures'] {
  return Object.freeze(
    Object.fromEntries(
      shotMeasureNames.map((name) => {
        const value = shot.measures[name];
        return [name, value.value === null ? value : sourced(value, place, [])];
      }),
    ),
  ) as Shot['measures'];
}

function timeSourcesOf(shot: Shot, place: 'ball' | 'wrist'): MergedShot['timeSources'] {
  return Object.fromEntries(
    shotTimes.map((time) => [time, shot[keys[time]] === null ? null : place]),
  ) as MergedShot['timeSources'];
}
