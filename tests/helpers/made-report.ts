import { bandsFor } from '../../src/coaching/bands.ts';
import { drillLibrary } from '../../src/coaching/drills.ts';
import { deriveWatch, initialWatch, readWatch, stepWatch } from '../../src/coaching/fault-watch.ts';
import { summarizeLoad } from '../../src/coaching/load.ts';
import { measured } from '../../src/foundation/measured.ts';
import type { ReportFrame, ReportShot, SessionReportInput } from '../../src/reports/report-input.ts';
import { measureDefinitions } from '../../src/shots/measure-definitions.ts';
import { coachedShot } from './made-coached-shot.ts';

export const reportFrame: ReportFrame = {
  audience: 'coach',
  units: { units: 'metric', spin: 'rev/s' },
  madeS: 1_764_003_600,
  timeZone: 'Europe/Berlin',
  programVersion: '0.0.0',
  definitions: measureDefinitions,
};

/** 24 shots that stop on their way up for 0.2 s, every fifth without a number for it; every fourth is not counted. */
export function pausedShots(): ReportShot[] {
  return Array.from({ length: 24 }, (_, i) => {
    const wave = Math.sin(3 * i);
    const shot = coachedShot(i, {
      ...(i % 5 === 4 ? {} : { pauseS: [0.2 + 0.03 * wave, 0.01] as const }),
      axisTiltDeg: [1 + wave, 0.4],
      backspinRps: [2.1 + 0.1 * wave, 0.01],
    });
    const measures =
      i === 7 ? { ...shot.measures, entryAngleDeg: measured(41, 2, { interval90: [37, 43] }) } : shot.measures;
    return {
      atS: 1_764_000_000 + 25 * i,
      outcome: (['make', 'miss', 'unknown', 'make'] as const)[i % 4]!,
      shot: { ...shot, measures },
    };
  });
}

/** A practice of a player of this age as a report takes it. */
export function madeSession(ageYears: number | null, change: Partial<SessionReportInput> = {}): SessionReportInput {
  const shots = change.shots ?? pausedShots();
  const bands = bandsFor();
  const watch = deriveWatch(bands, ageYears);
  const state = shots.reduce((last, { shot }) => stepWatch(watch, last, { shot, distanceM: 4.6 }), initialWatch);
  return {
    ...reportFrame,
    name: '',
    startedS: 1_764_000_000,
    endedS: 1_764_001_500,
    simulated: false,
    player: { pseudonym: 'Player 07', hand: 'right', ageYears },
    places: ['ball'],
    sets: [
      {
        name: 'from the left',
        kind: 'drill',
        spot: 'wing',
        distanceM: 4.6,
        conditions: [{ factor: 'footwork', level: 'hop' }],
        shots: 12,
        made: { makes: 7, attempts: 9 },
      },
    ],
    bands,
    findings: readWatch(watch, state),
    drills: drillLibrary,
    load: summarizeLoad([{ day: 100, shots: 24, minutes: 25 }], 100, ageYears),
    analysisVersions: ['1'],
    ...change,
    shots,
  };
}
