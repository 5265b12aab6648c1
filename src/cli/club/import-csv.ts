import { statSync } from 'node:fs';
import path from 'node:path';
import { sameClock } from '../../shots/merge/host-line.ts';
import type { Shot } from '../../shots/shot.ts';
import type { AnalysedShot, Analysis } from '../analyze/analysis-schema.ts';
import { analyzeFile } from '../analyze/analyze-file.ts';
import { type HeardSensor, mergeAnalyses } from '../analyze/merge-analyses.ts';
import { Progress } from '../progress.ts';
import type { FoundSession, ImportOptions, StartFrom } from './import-files.ts';

/** One CSV file, analysed. */
interface AnalysedFile {
  readonly file: string;
  readonly sensorId: string;
  readonly placement: 'ball' | 'wrist';
  readonly analysis: Analysis;
}

/** Times in this range count from 1970: no recording goes on for thirty years. */
const sinceEpoch = { fromS: Date.UTC(2000, 0) / 1000, untilS: Date.UTC(2100, 0) / 1000 } as const;

/**
 * Analyses CSV recordings of one practice, whose times are of one clock; one sensor in the ball and one on the arm are put together.
 *
 * @throws UnreadableRecordingError or UsageError.
 */
export async function findInCsvFiles(files: readonly string[], options: ImportOptions): Promise<FoundSession> {
  const { settings, sources, stderr, onShare } = options;
  const analysed: AnalysedFile[] = [];
  const progress = new Progress(stderr);
  const tellBar = (share: number): void => progress.show(share);
  try {
    for (const [at, file] of files.entries()) {
      const { placement = null, mount = null, mapping = null, filterDelayS = null } = sources[at] ?? {};
      const analysis = await analyzeFile(file, {
        settings,
        placement,
        mount,
        mapping,
        sensorId: null,
        filterDelayS,
        onProgress: (share) => (onShare ?? tellBar)((at + share) / files.length),
      });
      const known = analysed.filter((other) => other.placement === placement).length;
      const place = placement ?? 'ball';
      // A file has no id of a sensor: all files of one place count as one sensor, the second of a practice as another.
      analysed.push({
        file,
        analysis,
        placement: place,
        sensorId: `csv-${place}${known === 0 ? '' : `-${known + 1}`}`,
      });
    }
  } finally {
    progress.stop();
  }
  const [first] = analysed;
  const startS = Math.min(...analysed.map(({ analysis }) => analysis.recording.startS ?? 0));
  const { zeroS, startFrom } = timeZero(options, files[0] ?? '', startS);
  const endS = Math.max(
    ...analysed.map(({ analysis: { recording } }) => (recording.startS ?? 0) + recording.durationS),
  );
  return {
    shots: shotsOf(analysed, zeroS),
    settings,
    parameters: { ...settings, files: first && analysed.map(({ analysis }) => analysis.analysis.parameters.sensor) },
    // What begins within a second of 0 began then, as the person said it.
    startedS: Math.abs(startS) < 1 ? zeroS : zeroS + startS,
    endedS: zeroS + endS,
    startFrom,
    simulated: false,
    sensors: analysed.map(({ sensorId, placement }) => ({ id: sensorId, placement, description: '' })),
    marks: [],
    warnings: analysed.flatMap(({ file, analysis }) => warningsOf(file, analysis)),
  };
}

function timeZero({ startedS }: ImportOptions, file: string, startS: number): { zeroS: number; startFrom: StartFrom } {
  if (startedS !== null) return { zeroS: startedS, startFrom: 'said' };
  if (startS >= sinceEpoch.fromS && startS < sinceEpoch.untilS) return { zeroS: 0, startFrom: 'times-since-1970' };
  return { zeroS: statSync(file).mtimeMs / 1000, startFrom: 'file-date' };
}

function shotsOf(analysed: readonly AnalysedFile[], zeroS: number): FoundSession['shots'] {
  const of = (place: string) => analysed.filter(({ placement }) => placement === place);
  const [ball, wrist] = [of('ball'), of('wrist')];
  const isPair = ball.length === 1 && wrist.length === 1 && ball[0] && wrist[0];
  if (!isPair)
    return analysed.flatMap(({ analysis, sensorId }) => analysis.shots.map((shot) => found(shot, sensorId, zeroS)));
  const heard = ({ sensorId, analysis }: AnalysedFile): HeardSensor => ({
    sensorId,
    analysis,
    shots: analysis.shots.map(asShot),
    rejected: analysis.rejected,
    clock: sameClock,
  });
  const [onBall, onArm] = [ball[0] as AnalysedFile, wrist[0] as AnalysedFile];
  return mergeAnalyses(heard(onBall), heard(onArm)).shots.map((shot) =>
    found(shot, (shot.ball ?? shot.wrist)?.sensorId ?? onBall.sensorId, zeroS),
  );
}

function found(shot: AnalysedShot, sensorId: string, zeroS: number): FoundSession['shots'][number] {
  const { releaseS, contactS, liftS, pickupS } = shot;
  return { sensorId, streamIndex: 0, atS: zeroS + (releaseS ?? contactS ?? liftS ?? pickupS ?? 0), shot: asShot(shot) };
}

/** The schema's type says array where the shot's says pair. */
function asShot(shot: AnalysedShot): Shot {
  return { ...shot, stage: 'final' } as unknown as Shot;
}

function warningsOf(file: string, { recording }: Analysis): string[] {
  const name = path.basename(file);
  const [bad] = recording.badRowExamples;
  return [
    ...(bad ? [`${name}: ${recording.badRows} rows could not be used; line ${bad.line}: ${bad.reason}`] : []),
    ...recording.warnings.map(({ message }) => `${name}: ${message}`),
  ];
}
