import { describe, expect, it } from 'vitest';
import { composeAnalysis } from '../../../src/cli/analyze/compose-analysis.ts';
import { ShotCollector } from '../../../src/cli/analyze/shot-collector.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';
import { madeAnalysis, madeShot } from '../made-shots.ts';

function composed(code: string | null) {
  const collector = new ShotCollector();
  collector.take({ kind: 'shot', shot: madeShot(0) });
  collector.take({ kind: 'rejected', rejected: { startS: 0.2, endS: 0.7, kind: 'pass', reason: 'thrown flat' } });
  collector.finish([]);
  const { endsInFlight: _, ...recording } = madeAnalysis([]).recording;
  return composeAnalysis({
    settings: defaultBallSettings,
    traits: null,
    collector,
    times: { originS: 100, sharedErrorS: 0 },
    recording: { ...recording, warnings: code === null ? [] : [{ code, message: 'as the test says' }] },
  });
}

describe('the document of an analysis', () => {
  it.each([null, 'filter-delay-unknown', 'no-gyro'])('tells its shots, warned of %s', (code) => {
    const { shots, rejected } = composed(code);
    expect(shots.map(({ releaseS }) => releaseS)).toEqual([101.5]);
    expect(rejected).toHaveLength(1);
  });

  it.each(['accel-unit-suspect', 'accel-without-gravity', 'values-never-change'])(
    'tells no number of a shot beside the warning %s, but says where one may be',
    (code) => {
      const { shots, rejected } = composed(code);
      expect(shots).toEqual([]);
      expect(rejected).toEqual([
        { startS: 100.2, endS: 100.7, kind: 'pass', reason: 'thrown flat' },
        { startS: 101.5, endS: 102.5, kind: 'undecided', reason: expect.stringContaining(code) },
      ]);
    },
  );
});
