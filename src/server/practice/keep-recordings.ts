import { statSync } from 'node:fs';
import { rm } from 'node:fs/promises';
import path from 'node:path';
import type { Logger } from '../../foundation/logger.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { KeepPolicy } from '../../sessions/database/keep-records.ts';
import type { Session } from '../../sessions/database/session-records.ts';

/** A recording as far as keeping it goes. */
export interface KeptRecording {
  readonly session: Pick<Session, 'id' | 'name' | 'started_s' | 'ended_s' | 'starred' | 'recording'>;
  readonly sizeBytes: number;
}

/** A recording that is to go, and why. */
export interface LetGo extends KeptRecording {
  readonly reason: 'age' | 'size';
}

export interface KeepPlan {
  readonly policy: KeepPolicy;
  /** Oldest first. */
  readonly goes: readonly LetGo[];
  readonly totalBytes: number;
  readonly bytesAfter: number;
  /** Bytes of starred recordings, which stay whatever the policy says. */
  readonly starredBytes: number;
}

/** What a recovery may have left beside a recording; it goes and counts with it. */
const companions = ['', '.damaged', '.part'];
const daySeconds = 86_400;

/** @returns bytes of a recording with what lies beside it; 0 where it is not there. */
export function recordingBytes(folder: string, name: string): number {
  return companions.reduce((sum, end) => {
    const stat = statSync(path.join(folder, `${name}${end}`), { throwIfNoEntry: false });
    return sum + (stat?.size ?? 0);
  }, 0);
}

/**
 * Decides which recordings go: first what is too old, then the oldest until the rest fits. One of a starred session never
 * goes, nor one that is still written.
 */
export function planKeeping(recordings: readonly KeptRecording[], policy: KeepPolicy, nowS: number): KeepPlan {
  const { days, bytes } = policy;
  const oldestFirst = [...recordings].sort((one, other) => one.session.started_s - other.session.started_s);
  const totalBytes = oldestFirst.reduce((sum, { sizeBytes }) => sum + sizeBytes, 0);
  const free = oldestFirst.filter(({ session }) => session.starred === 0 && session.ended_s !== null);
  const isOld = ({ session }: KeptRecording) => days !== null && session.started_s < nowS - days * daySeconds;
  const goes: LetGo[] = free.filter(isOld).map((each) => ({ ...each, reason: 'age' }));
  let bytesAfter = totalBytes - goes.reduce((sum, { sizeBytes }) => sum + sizeBytes, 0);
  for (const each of free.filter((one) => !isOld(one))) {
    if (bytes === null || bytesAfter <= bytes) break;
    goes.push({ ...each, reason: 'size' });
    bytesAfter -= each.sizeBytes;
  }
  const starredBytes = oldestFirst
    .filter(({ session }) => session.starred !== 0)
    .reduce((sum, { sizeBytes }) => sum + sizeBytes, 0);
  return { policy, goes, totalBytes, bytesAfter, starredBytes };
}

/** @returns what would go now under a policy; that of the club by default. */
export async function keepPlanOf(
  store: ClubStore,
  folder: string,
  nowS: number,
  policy?: KeepPolicy,
): Promise<KeepPlan> {
  const sessions = (await store.sessions.recorded()).filter(({ recording_deleted_s }) => recording_deleted_s === null);
  const recordings = sessions.map((session) => ({
    session,
    sizeBytes: recordingBytes(folder, session.recording ?? ''),
  }));
  return planKeeping(recordings, policy ?? (await store.keep.policy()), nowS);
}

/**
 * Deletes the recordings that the club does not keep any longer, and what an earlier time was cut off from deleting. Shots stay.
 *
 * @returns what went.
 */
export async function letRecordingsGo(
  store: ClubStore,
  folder: string,
  nowS: number,
  logger: Logger,
): Promise<KeepPlan> {
  const plan = await keepPlanOf(store, folder, nowS);
  const begun = (await store.sessions.recorded()).filter(({ recording_deleted_s }) => recording_deleted_s !== null);
  const gone: LetGo[] = [];
  for (const { id, recording } of [...begun, ...plan.goes.map(({ session }) => session)]) {
    // It may have been starred since the plan was made.
    if (recording === null || !(await store.keep.letGo(id))) continue;
    try {
      for (const end of companions) await rm(path.join(folder, `${recording}${end}`), { force: true });
      await store.keep.gone(id);
      gone.push(...plan.goes.filter(({ session }) => session.id === id));
    } catch (error) {
      const why = error instanceof Error ? error.message : String(error);
      logger.error({ recording, why }, 'a recording that is not kept any longer could not be deleted');
    }
  }
  if (gone.length > 0) logger.warn({ recordings: gone.map(({ session }) => session.recording) }, keepText(plan));
  return { ...plan, goes: gone };
}

/** @returns what a plan does, for a person. */
export function keepText({ policy, goes, totalBytes, bytesAfter, starredBytes }: KeepPlan): string {
  const { days, bytes } = policy;
  if (days === null && bytes === null) return `Every recording is kept: ${sizeText(totalBytes)}.`;
  const bounds = [days === null ? '' : `${days} days`, bytes === null ? '' : `${sizeText(bytes)} in all`];
  const kept = `Recordings are kept for ${bounds.filter(Boolean).join(' and ')}; starred ones always.`;
  const what =
    goes.length === 0
      ? `None goes: ${sizeText(totalBytes)}.`
      : `${goes.length} of ${sizeText(totalBytes)} go, ${sizeText(totalBytes - bytesAfter)}, and ${sizeText(bytesAfter)} stay. The shots stay.`;
  const over =
    bytes !== null && bytesAfter > bytes
      ? ` That is still more than ${sizeText(bytes)}: ${sizeText(starredBytes)} are starred.`
      : '';
  return `${kept} ${what}${over}`;
}

/** @returns `12.3 MB`; decimal units. */
export function sizeText(bytes: number): string {
  const [unit, one] = bytes >= 1e9 ? ['GB', 1e9] : bytes >= 1e6 ? ['MB', 1e6] : ['kB', 1e3];
  return `${(bytes / one).toFixed(1)} ${unit}`;
}
