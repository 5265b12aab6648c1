import type { Analysis, AnalysisRecording } from '../../src/cli/analyze/analysis-schema.ts';
import { toAnalysedShot } from '../../src/cli/analyze/compose-analysis.ts';
import { measured, notMeasured } from '../../src/foundation/measured.ts';
import { analysisVersion, ballMeasureNames, type Shot, unseenByBall } from '../../src/shots/shot.ts';

/** @returns a shot of a ball with every measure that a ball can give, apart from what is changed */
export function madeShot(index: number, changes: Partial<Shot> = {}, measures: Partial<Shot['measures']> = {}): Shot {
  const seen = Object.fromEntries(ballMeasureNames.map((name, i) => [name, measured(1 + i / 10, 0.012)]));
  return {
    index,
    stage: 'final',
    startKind: 'catch',
    pickupS: 1 + index,
    liftS: 1.2 + index,
    releaseS: 1.5 + index,
    contactS: 2.5 + index,
    timeErrorsS: { pickup: 0.004, lift: 0.02, release: 0.0012, contact: 0.002 },
    timeReasons: {},
    contactKind: 'ring',
    pauseAt: null,
    measures: { ...(seen as Shot['measures']), ...unseenByBall, ...measures },
    ...changes,
  };
}

export const noDistance = notMeasured('no-distance');

/** @returns an analysis of a CSV recording with these shots, apart from what is changed */
export function madeAnalysis(shots: readonly Shot[], changes: Partial<AnalysisRecording> = {}): Analysis {
  return {
    schemaVersion: 1,
    analysis: {
      version: analysisVersion,
      parameters: { ballSize: 7, hoopHeightM: 3.05, releaseHeightM: null, distanceM: null, sensor: null },
    },
    recording: {
      file: 'practice.csv',
      format: 'csv',
      placement: 'ball',
      mount: null,
      simulated: null,
      sensorId: null,
      hasGyro: true,
      sampleCount: 1000,
      sampleRateHz: 199.87,
      startS: 0,
      durationS: 62.51,
      timeZeroTick: null,
      gapCount: 0,
      clippedShare: 0,
      badRows: 0,
      badRowExamples: [],
      ignoredColumns: [],
      notifications: null,
      damage: null,
      endsInFlight: false,
      warnings: [],
      ...changes,
    },
    shots: shots.map(toAnalysedShot),
    rejected: [],
  };
}
