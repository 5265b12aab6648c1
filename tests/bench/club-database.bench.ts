import { mkdtempSync, rmSync, statSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { ClubStore } from '../../src/sessions/database/club-store.ts';
import { exportClub } from '../../src/sessions/exchange/export/export-club.ts';
import { measureDefinitions } from '../../src/shots/measure-definitions.ts';
import { shotMeasureNames } from '../../src/shots/shot.ts';
import { clubQuestions, clubStartS, fillClub, fixedPlayerId, yearS } from '../helpers/big-club.ts';
import type { BenchContext, BenchFigure } from './bench.ts';

const sessions = [200, 2000];
const shotsEach = 500;
const fixedSessions = 20;
const runs = 7;

/**
 * Two generated clubs, one with ten times as many sessions and shots as the other (2,000 and a million), and the same questions
 * asked of both, whose answers are equally large: the times may not grow with the total.
 */
export async function figures({ say }: BenchContext): Promise<readonly BenchFigure[]> {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-club-'));
  const found: BenchFigure[] = [];
  const times = new Map<string, number[]>();
  try {
    for (const count of sessions) {
      const file = path.join(folder, `club-${count}.db`);
      const startMs = performance.now();
      const made = await ClubStore.open({ file, nowS: () => clubStartS });
      const { clubId } = made;
      await made.close();
      fillClub(file, clubId, { sessions: count, shotsEach, fixedSessions });
      const tookS = (performance.now() - startMs) / 1000;
      say(
        `  ${count} sessions, ${count * shotsEach} shots: ${(statSync(file).size / 1e9).toFixed(2)} GB in ${tookS.toFixed(0)} s`,
      );
      const store = await ClubStore.open({ file, nowS: () => clubStartS });
      const questions = [
        ...clubQuestions,
        {
          name: "export of one player's year, CSV and Parquet",
          ask: () => exportYear(store, path.join(folder, 'out')),
        },
      ];
      for (const { name, ask } of questions) {
        const ms: number[] = [];
        for (let run = 0; run < runs; run++) {
          const fromMs = performance.now();
          await ask(store);
          ms.push(performance.now() - fromMs);
        }
        const median = ms.sort((a, b) => a - b)[runs >> 1] as number;
        times.set(name, [...(times.get(name) ?? []), median]);
        found.push({ name: `${name}, ${count * shotsEach} shots`, value: median, unit: 'ms' });
      }
      await store.close();
      rmSync(file);
    }
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
  for (const [name, [small = Number.NaN, big = Number.NaN]] of times) {
    found.push({ name: `${name}: ten times the shots over one times`, value: big / small, unit: 'x' });
  }
  return found;
}

async function exportYear(store: ClubStore, folder: string): Promise<void> {
  await exportClub(store, {
    folder,
    filter: { playerId: fixedPlayerId, fromS: clubStartS, untilS: clubStartS + yearS },
    measures: shotMeasureNames.map((name) => ({ name, ...measureDefinitions[name] })),
    version: 'bench',
    shift: 'none',
    uniform: () => 0.5,
    keyFile: null,
    withUnnamed: false,
    recordings: null,
  });
  rmSync(folder, { recursive: true });
}
