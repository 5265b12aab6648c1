import { availableParallelism } from 'node:os';
import path from 'node:path';
import type { Command } from 'commander';
import { SeamwiseError } from '../../foundation/errors.ts';
import { recordingsFolder } from '../../server/practice/practice-keeper.ts';
import type { SessionReanalysis } from '../../server/reanalysis/reanalyse-sessions.ts';
import { spinReferenceFile } from '../../server/spin-references.ts';
import { JsonSensorCalibrations } from '../../sessions/sensor-calibrations.ts';
import { JsonWristCalibrationStore } from '../../sessions/wrist-calibration/json-wrist-calibration-store.ts';
import { analysisVersion } from '../../shots/shot.ts';
import { wholeNumberWithin } from '../option-values.ts';
import { Progress } from '../progress.ts';
import type { Surroundings } from '../surroundings.ts';
import { withClub } from './open-club.ts';
import { findSession } from './session-text.ts';

interface ReanalyzeWords {
  readonly again?: true;
  readonly threads: number;
  readonly json?: true;
}

/** Adds `reanalyze` to the program. */
export function addReanalyzeCommand(program: Command, surroundings: Surroundings): void {
  program
    .command('reanalyze')
    .summary('go through recordings again with this version of the analysis')
    .description(
      'Leads the recordings of sessions through the analysis again. The old results stay beside the new ones. Stopped half-way, it goes on with the sessions that are left.',
    )
    .argument('[session]', 'id, or its beginning; "last" is the newest; all without one')
    .option('--again', 'go through sessions too that this version has gone through already')
    .option('--threads <count>', 'recordings at a time', wholeNumberWithin(1, 64), availableParallelism())
    .option('--json', 'print what became of each session as JSON')
    .action((word: string | undefined, words: ReanalyzeWords) =>
      withClub(surroundings, async (store, dataFolder) => {
        const { reanalyseSessions } = await import('../../server/reanalysis/reanalyse-sessions.ts');
        const { sensorSetup } = await import('../../server/analysis/sensor-setups.ts');
        const sessions = word === undefined ? await store.sessions.withRecordings() : [await findSession(store, word)];
        const progress = new Progress(surroundings.stderr);
        let done = 0;
        const results = await reanalyseSessions({
          store,
          sessions,
          recordingsFolder: path.join(dataFolder, recordingsFolder),
          again: words.again === true,
          threadCount: words.threads,
          setupOf: (sensorId) =>
            sensorSetup(sensorId, {
              calibrations: new JsonSensorCalibrations(dataFolder),
              references: new JsonWristCalibrationStore(path.join(dataFolder, spinReferenceFile)),
              players: store.players,
              onTrouble: (_, why) => surroundings.stderr.write(`warning: sensor ${sensorId}: ${why}\n`),
            }),
          onSession: () => progress.show(++done / sessions.length),
        }).finally(() => progress.stop());
        if (words.json)
          surroundings.stdout.write(`${JSON.stringify({ analysisVersion, sessions: results }, null, 2)}\n`);
        else {
          const sum = (key: 'again' | 'added' | 'notFound' | 'changed') =>
            results.reduce((total, result) => total + result[key], 0);
          const count = (state: string) => results.filter((result) => result.state === state).length;
          surroundings.stdout.write(
            `${count('done')} sessions gone through with analysis ${analysisVersion}: ${sum('again')} shots found again (${sum('changed')} with other numbers), ` +
              `${sum('added')} new, ${sum('notFound')} not found again (they keep their old numbers).\n` +
              (count('done-before') > 0
                ? `${count('done-before')} had been gone through before; --again does them too.\n`
                : '') +
              (count('no-recording') > 0 ? `${count('no-recording')} have no recording.\n` : ''),
          );
        }
        requireAllDone(results);
      }),
    );
}

/** @throws SeamwiseError `reanalysis-failed` when a session failed, with why. */
export function requireAllDone(results: readonly Pick<SessionReanalysis, 'sessionId' | 'state' | 'message'>[]): void {
  const failed = results.filter(({ state }) => state === 'failed');
  if (failed.length === 0) return;
  throw new SeamwiseError(
    'reanalysis-failed',
    `${failed.length} sessions could not be gone through: ${failed.map(({ sessionId, message }) => `${sessionId}: ${message}`).join('; ')}`,
  );
}
