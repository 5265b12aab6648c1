import { measured, notMeasured } from '../../../src/foundation/measured.ts';
import { type HostLine, sameClock } from '../../../src/shots/merge/host-line.ts';
import type { HeardShot } from '../../../src/shots/merge/match-shots.ts';
import { type Shot, type ShotMeasureName, shotMeasureNames } from '../../../src/shots/shot.ts';

type Values = Partial<Record<ShotMeasureName, readonly [number, number]>>;

/** A shot with what matters to merging; times as given, errors 2 ms. */
export function madeShot(releaseS: number | null, values: Values = {}, more: Partial<Shot> = {}): Shot {
  const measures = Object.fromEntries(
    shotMeasureNames.map((name) => {
      const value = values[name];
      return [name, value ? measured(value[0], value[1]) : notMeasured('gap')];
    }),
  ) as Shot['measures'];
  return {
    index: 0,
    stage: 'final',
    startKind: 'dribble',
    pickupS: releaseS === null ? null : releaseS - 0.8,
    liftS: releaseS === null ? null : releaseS - 0.4,
    releaseS,
    contactS: null,
    timeErrorsS: {
      pickup: releaseS === null ? null : 0.005,
      lift: releaseS === null ? null : 0.005,
      release: releaseS === null ? null : 0.002,
      contact: null,
    },
    timeReasons: { contact: 'no-contact' },
    contactKind: 'unknown',
    pauseAt: null,
    measures,
    ...more,
  };
}

export function heard(sensorId: string, shot: Shot, clock: HostLine = sameClock): HeardShot {
  return { sensorId, shot, clock };
}

/** A sensor whose recording starts at a host time, with some drift. */
export function lineFrom(startHostS: number, driftPpm: number): HostLine {
  return {
    referenceS: 100,
    hostTimeS: startHostS + 100 * (1 + driftPpm * 1e-6),
    hostTimeStandardErrorS: 0.002,
    driftPpm,
    driftStandardErrorPpm: 2,
  };
}
