import { measured, notMeasured } from '../../src/foundation/measured.ts';
import { type Shot, type ShotMeasureName, type StartKind, shotMeasureNames } from '../../src/shots/shot.ts';

/** A final shot with these numbers and no others; the error stands beside the value. */
export function coachedShot(
  index: number,
  numbers: Readonly<Partial<Record<ShotMeasureName, readonly [value: number, standardError: number]>>>,
  startKind: StartKind = 'catch',
): Shot {
  const measures = Object.fromEntries(
    shotMeasureNames.map((name) => {
      const given = numbers[name];
      return [name, given === undefined ? notMeasured('not-observable-from-ball') : measured(given[0], given[1])];
    }),
  ) as Shot['measures'];
  const timeS = 10 * index;
  return {
    index,
    stage: 'final',
    startKind,
    pickupS: timeS,
    liftS: timeS + 0.3,
    releaseS: timeS + 0.8,
    contactS: timeS + 1.8,
    timeErrorsS: { pickup: 0.002, lift: 0.002, release: 0.001, contact: 0.003 },
    timeReasons: {},
    contactKind: 'ring',
    pauseAt: 'low',
    measures,
  };
}
