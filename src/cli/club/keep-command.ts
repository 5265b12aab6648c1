import path from 'node:path';
import type { Command } from 'commander';
import { systemClock } from '../../devices/system-clock.ts';
import { silentLogger } from '../../foundation/logger.ts';
import {
  type KeepPlan,
  keepPlanOf,
  keepText,
  letRecordingsGo,
  sizeText,
} from '../../server/practice/keep-recordings.ts';
import { recordingsFolder } from '../../server/practice/practice-keeper.ts';
import type { KeepPolicy } from '../../sessions/database/keep-records.ts';
import { numberWithin, wholeNumberWithin } from '../option-values.ts';
import type { Surroundings } from '../surroundings.ts';
import { UsageError } from '../usage-error.ts';
import { commandLine, withClub } from './open-club.ts';
import { instantText } from './session-text.ts';

interface KeepWords {
  readonly days?: number;
  readonly gb?: number;
  readonly everything?: true;
  readonly apply?: true;
  readonly json?: true;
}

/** Adds `sessions keep`. */
export function addKeepCommand(sessions: Command, surroundings: Surroundings): void {
  sessions
    .command('keep')
    .summary('say how long recordings are kept, or see what would go')
    .description(
      'Without an option: how long recordings are kept, and which would be deleted now; nothing is deleted by looking. The service deletes at its start and daily. ' +
        'Recordings of starred sessions are always kept, and so are the shots of every session.',
    )
    .option('--days <count>', 'delete recordings older than this', wholeNumberWithin(1, 36_500))
    .option('--gb <size>', 'delete the oldest while all take more than this, GB', numberWithin(0.001, 1e6, 'GB', '20'))
    .option('--everything', 'keep every recording')
    .option('--apply', 'delete now what is not kept any longer')
    .option('--json', 'print JSON')
    .action((words: KeepWords) =>
      withClub(surroundings, async (store, dataFolder) => {
        const { days, gb, everything, apply, json } = words;
        if (everything && (days !== undefined || gb !== undefined)) {
          throw new UsageError("option '--everything' cannot stand with '--days' or '--gb': expected one or the other");
        }
        const policy: KeepPolicy = { days: days ?? null, bytes: gb === undefined ? null : gb * 1e9 };
        if (everything || days !== undefined || gb !== undefined) await store.keep.changePolicy(commandLine, policy);
        const folder = path.join(dataFolder, recordingsFolder);
        const nowS = systemClock.nowS();
        const plan = apply
          ? await letRecordingsGo(store, folder, nowS, silentLogger)
          : await keepPlanOf(store, folder, nowS);
        surroundings.stdout.write(
          json ? `${JSON.stringify(planDocument(plan), null, 2)}\n` : planText(plan, apply === true),
        );
      }),
    );
}

function planText(plan: KeepPlan, isDone: boolean): string {
  const lines = plan.goes.map(({ session, sizeBytes, reason }) => {
    const why = reason === 'age' ? 'too old' : 'no room';
    return `  ${instantText(session.started_s, 'UTC')} UTC  ${sizeText(sizeBytes)}  ${why}  ${session.id}`;
  });
  const head = plan.goes.length === 0 ? '' : isDone ? 'Deleted:\n' : 'Would be deleted now (--apply does it):\n';
  return `${keepText(plan)}\n${head}${lines.map((line) => `${line}\n`).join('')}`;
}

function planDocument({ policy, goes, totalBytes, bytesAfter, starredBytes }: KeepPlan) {
  const recordings = goes.map(({ session, sizeBytes, reason }) => {
    return { sessionId: session.id, startedS: session.started_s, recording: session.recording, sizeBytes, reason };
  });
  return { policy, totalBytes, bytesAfter, starredBytes, goes: recordings };
}
