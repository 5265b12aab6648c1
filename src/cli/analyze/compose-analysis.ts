import type { SensorTraits } from '../../foundation/imu-block.ts';
import {
  analysisVersion,
  type BallSettings,
  type RejectedFlight,
  type Shot,
  shotMeasureNames,
} from '../../shots/shot.ts';
import { type AnalysedShot, type Analysis, type AnalysisRecording, analysisSchemaVersion } from './analysis-schema.ts';
import type { ShotCollector } from './shot-collector.ts';
import { flightInRecordingTime, shotInRecordingTime, type TimeReading } from './shot-times.ts';

export type { Analysis } from './analysis-schema.ts';

export interface AnalysisParts {
  readonly settings: BallSettings;
  readonly traits: SensorTraits | null;
  readonly collector: ShotCollector;
  /** Where the analysis did not count as the recording does; otherwise its times are taken as they are. */
  readonly times?: TimeReading;
  readonly recording: Omit<AnalysisRecording, 'endsInFlight'>;
}

/** Warnings that say of the accelerometer what makes every number of a shot wrong. */
const spoiling: readonly string[] = ['accel-unit-suspect', 'accel-without-gravity', 'values-never-change'];

/** Puts the one document of an analysis together. Shots stand in the order of their release. */
export function composeAnalysis({ settings, traits, collector, times, recording }: AnalysisParts): Analysis {
  const { ballSize, hoopHeightM, releaseHeightM, distanceM } = settings;
  const reading = times ?? { originS: 0, sharedErrorS: 0 };
  const shots = collector.shots.map((shot) => toAnalysedShot(shotInRecordingTime(shot, reading)));
  const spoiled = recording.warnings.find(({ code }) => spoiling.includes(code)) ?? null;
  const others = spoiled ? collector.shots.map((shot) => withheld(shot, spoiled.code)) : [];
  const rejected = [...collector.rejected, ...others]
    .sort((a, b) => a.startS - b.startS)
    .map((flight) => flightInRecordingTime(flight, reading));
  return {
    schemaVersion: analysisSchemaVersion,
    analysis: {
      version: analysisVersion,
      parameters: { ballSize, hoopHeightM, releaseHeightM, distanceM, sensor: traits && { ...traits } },
    },
    recording: { ...recording, endsInFlight: collector.endsInFlight },
    shots: spoiled ? [] : shots.sort((a, b) => shotTimeS(a) - shotTimeS(b)),
    rejected: rejected.map(({ startS, endS, kind, reason }) => ({ startS, endS, kind, reason })),
  };
}

/** What would be a shot if the accelerometer's readings were what they are said to be. */
function withheld({ releaseS, contactS, pickupS }: Shot, code: string): RejectedFlight {
  const startS = releaseS ?? pickupS ?? contactS ?? 0;
  const reason = `it may be a shot, but no number of it can be trusted (warning ${code}): mend that first`;
  return { startS, endS: contactS ?? startS, kind: 'undecided', reason };
}

function shotTimeS(shot: AnalysedShot): number {
  return shot.releaseS ?? shot.contactS ?? Number.POSITIVE_INFINITY;
}

/** @returns a shot as the document has it: without its stage, for only final shots are listed. */
export function toAnalysedShot(shot: Shot): AnalysedShot {
  const { index, startKind, pickupS, liftS, releaseS, contactS, timeErrorsS, timeReasons, contactKind, pauseAt } = shot;
  const measures = Object.fromEntries(shotMeasureNames.map((name) => [name, shot.measures[name]]));
  return {
    index,
    startKind,
    pickupS,
    liftS,
    releaseS,
    contactS,
    timeErrorsS: { ...timeErrorsS },
    timeReasons: { ...timeReasons },
    contactKind,
    pauseAt,
    measures: measures as AnalysedShot['measures'],
  };
}
