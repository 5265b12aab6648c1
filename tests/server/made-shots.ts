import { measured, notMeasured } from '../../src/foundation/measured.ts';
import type { PublishedEvent } from '../../src/server/live-hub.ts';
import type { ShotDocument } from '../../src/server/wire/live-document.ts';
import { type Shot, type ShotMeasureName, shotMeasureNames } from '../../src/shots/shot.ts';

/** Plausible values of a free throw; invented. */
const values: Partial<Record<ShotMeasureName, readonly [number, number]>> = {
  pickupToReleaseS: [0.82, 0.006],
  liftToReleaseS: [0.41, 0.005],
  pauseS: [0.05, 0.01],
  dipDepthM: [0.22, 0.012],
  sidePathM: [-0.04, 0.03],
  flightS: [1.02, 0.003],
  spinRps: [2.04, 0.006],
  backspinRps: [2.02, 0.007],
  sidespinRps: [0.21, 0.02],
  rifleSpinRps: [-0.1, 0.03],
  axisTiltDeg: [5.9, 0.6],
  launchSpeedMps: [7.31, 0.05],
  launchAngleDeg: [52.3, 0.4],
  entryAngleDeg: [44.6, 0.5],
  apexM: [1.72, 0.02],
  contactHardnessMps: [2.4, 0.1],
  sidewaysImpulseMps: [0.05, 0.03],
  spinBeforeLiftRps: [0.3, 0.02],
};

const early: readonly ShotMeasureName[] = ['pickupToReleaseS', 'liftToReleaseS', 'spinRps', 'backspinRps'];

/** A shot as the analysis would give it, for tests of what lies behind the analysis. */
export function madeShot(index: number, stage: Shot['stage'] = 'final', change: Partial<Shot> = {}): Shot {
  const releaseS = 10 + 8 * index;
  const measures = Object.fromEntries(
    shotMeasureNames.map((name) => {
      const pair = values[name];
      if (stage === 'early' && !early.includes(name)) return [name, notMeasured('too-early')];
      return [name, pair ? measured(pair[0], pair[1]) : notMeasured('no-distance')];
    }),
  ) as Shot['measures'];
  const isFinal = stage === 'final';
  return {
    index,
    stage,
    startKind: 'dribble',
    pickupS: releaseS - 0.82,
    liftS: releaseS - 0.41,
    releaseS,
    contactS: isFinal ? releaseS + 1.02 : null,
    timeErrorsS: { pickup: 0.006, lift: 0.005, release: 0.002, contact: isFinal ? 0.003 : null },
    timeReasons: isFinal ? {} : { contact: 'too-early' },
    contactKind: isFinal ? 'ring' : 'unknown',
    pauseAt: 'low',
    measures,
    ...change,
  };
}

export function shotEvent(index: number, stage: Shot['stage'] = 'final', sensorId = 'ball-a'): PublishedEvent {
  return {
    sensorId,
    streamIndex: 0,
    hostTimeS: 1000 + 8 * index,
    event: { kind: 'shot', shot: madeShot(index, stage) },
  };
}

export function rejectedEvent(startS: number, sensorId = 'ball-a'): PublishedEvent {
  return {
    sensorId,
    streamIndex: 0,
    hostTimeS: 1000 + startS,
    event: {
      kind: 'rejected',
      rejected: { startS, endS: startS + 0.5, kind: 'pass', reason: 'the flight ended 1.9 m below the ring' },
    },
  };
}

/** A numbered document of a shot as a store would hold it. */
export function shotDocument(seq: number, stage: Shot['stage'] = 'final', index = seq): ShotDocument {
  return {
    v: 1,
    seq,
    kind: 'shot',
    shotId: `run.ball-a.0.${index}`,
    runId: 'run',
    sensorId: 'ball-a',
    at: '2026-01-02T03:04:05.678Z',
    hostTimeS: 1000 + seq,
    simulated: true,
    shot: madeShot(index, stage),
  };
}
