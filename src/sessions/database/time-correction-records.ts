import type { Selectable } from 'kysely';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { Shot } from '../../shots/shot.ts';
import type { EditLog } from './edit-log.ts';
import { newId } from './new-id.ts';
import {
  type Actor,
  type Connection,
  missing,
  requireNumber,
  requireOneOf,
  type StoreContext,
} from './store-context.ts';
import { shotPhases, type TimeCorrectionTable } from './tables.ts';

export type TimeCorrection = Selectable<TimeCorrectionTable>;
export type ShotPhase = TimeCorrection['phase'];

/** A time as a person sets it, in the recording time of the sensor that the shot's own times are of. */
export interface CorrectionWords {
  readonly timeS: number;
  /** Spacing of the samples there. */
  readonly resolutionS: number;
}

/** A change that was made and can be undone by this id. */
export interface CorrectionMade {
  readonly changeId: string;
}

/** No phase of a shot lies further from the others, s. */
const longestShotS = 60;

/** Times of shots that people set by hand. */
export class TimeCorrectionRecords {
  readonly #context: StoreContext;
  readonly #edits: EditLog;

  constructor(context: StoreContext, edits: EditLog) {
    this.#context = context;
    this.#edits = edits;
  }

  /** Sets a time, or sets it anew. @throws SeamwiseError `store-missing` or `store-value`. */
  async set(actor: Actor, shotId: string, phaseWord: string, words: CorrectionWords): Promise<CorrectionMade> {
    const { clubId, nowS } = this.#context;
    const phase = requireOneOf('time of a shot', phaseWord, shotPhases);
    const set = {
      time_s: requireNumber(`${phase} in s`, words.timeS, -1e11, 1e11),
      resolution_s: requireNumber('spacing of the samples in s', words.resolutionS, 1e-6, 1),
      made_s: nowS(),
      by_role: actor.role,
      by_name: actor.name,
    };
    return this.#edits.make(actor, `set ${phase} by hand`, async (batch) => {
      const { trx, groupId } = batch;
      const { shot, clock } = await shotOf(trx, clubId, shotId);
      const known = await correctionsOf(trx, clubId, [shotId]);
      requireOrder(
        phase,
        set.time_s,
        shot,
        known.filter((each) => isOfClock(each, clock)),
      );
      const before = known.find((each) => each.phase === phase);
      const row = { ...set, sensor_id: clock.sensorId, stream_index: clock.streamIndex };
      if (before) await batch.change('time_correction', before.id, row);
      else {
        const id = newId(nowS());
        await batch.insert('time_correction', { id, club_id: clubId, shot_id: shotId, phase, ...row });
      }
      return { changeId: groupId };
    });
  }

  /** Goes back to what the analysis says. @throws SeamwiseError `store-missing`. */
  async remove(actor: Actor, shotId: string, phaseWord: string): Promise<CorrectionMade> {
    const phase = requireOneOf('time of a shot', phaseWord, shotPhases);
    return this.#edits.make(actor, `take back ${phase} set by hand`, async (batch) => {
      const known = await correctionsOf(batch.trx, this.#context.clubId, [shotId]);
      const before = known.find((each) => each.phase === phase);
      if (!before) throw missing(`${phase} set by hand of a shot`, shotId);
      await batch.remove('time_correction', before.id);
      return { changeId: batch.groupId };
    });
  }

  /** @returns those of shots, by the id of the shot. */
  async of(shotIds: readonly string[]): Promise<ReadonlyMap<string, readonly TimeCorrection[]>> {
    const { db, clubId } = this.#context;
    const byShot = new Map<string, TimeCorrection[]>();
    // A statement holds so many values and no more.
    for (let at = 0; at < shotIds.length; at += 500) {
      for (const row of await correctionsOf(db, clubId, shotIds.slice(at, at + 500))) {
        byShot.set(row.shot_id, [...(byShot.get(row.shot_id) ?? []), row]);
      }
    }
    return byShot;
  }
}

/** Whose recording time the times of a shot are. */
export interface ShotClock {
  readonly sensorId: string | null;
  readonly streamIndex: number;
}

interface ClockedShot {
  readonly timesOf?: 'ball' | 'wrist';
  readonly ball?: { readonly sensorId: string } | null;
  readonly wrist?: { readonly sensorId: string } | null;
}

/** @returns whose recording time the times of a stored shot are: with two sensors that of the one it says. */
export function shotClock(sensorId: string | null, streamIndex: number, shot: Shot & ClockedShot): ShotClock {
  const own = shot.timesOf === undefined ? null : (shot[shot.timesOf]?.sensorId ?? null);
  return { sensorId: own ?? sensorId, streamIndex };
}

/** @returns whether a time set by hand is of that recording time, so that it can stand beside the analysis' own. */
export function isOfClock({ sensor_id, stream_index }: TimeCorrection, { sensorId, streamIndex }: ShotClock): boolean {
  return sensor_id === sensorId && stream_index === streamIndex;
}

async function shotOf(db: Connection, clubId: string, shotId: string): Promise<{ shot: Shot; clock: ShotClock }> {
  const row = await db
    .selectFrom('shot')
    .innerJoin('shot_result', (join) =>
      join.onRef('shot_result.shot_id', '=', 'shot.id').on('shot_result.is_current', '=', 1),
    )
    .select(['shot.sensor_id', 'shot.stream_index', 'shot_result.document'])
    .where('shot.id', '=', shotId)
    .where('shot.club_id', '=', clubId)
    .executeTakeFirst();
  if (!row) throw missing('shot', shotId);
  const shot = JSON.parse(row.document) as Shot & ClockedShot;
  return { shot, clock: shotClock(row.sensor_id, row.stream_index, shot) };
}

function correctionsOf(db: Connection, clubId: string, shotIds: readonly string[]): Promise<TimeCorrection[]> {
  return db
    .selectFrom('time_correction')
    .selectAll()
    .where('shot_id', 'in', [...shotIds])
    .where('club_id', '=', clubId)
    .orderBy('shot_id')
    .orderBy('time_s')
    .execute();
}

/** Pickup, lift, release and contact follow each other; pickup and lift may be one. */
function requireOrder(phase: ShotPhase, timeS: number, shot: Shot, known: readonly TimeCorrection[]): void {
  const place = shotPhases.indexOf(phase);
  for (const [otherPlace, other] of shotPhases.entries()) {
    if (other === phase) continue;
    const otherS = known.find((each) => each.phase === other)?.time_s ?? shot[`${other}S`];
    if (otherS === null) continue;
    const isInOrder = otherPlace < place ? timeS >= otherS : timeS <= otherS;
    if (isInOrder && Math.abs(timeS - otherS) <= longestShotS) continue;
    const relation = isInOrder ? `at most ${longestShotS} s from` : otherPlace < place ? 'not before' : 'not after';
    throw new SeamwiseError(
      'store-value',
      `${phase} at ${timeS.toFixed(4)} s: expected a time ${relation} the ${other}, ${otherS.toFixed(4)} s of the same recording time`,
    );
  }
}
