import type { Kysely } from 'kysely';
import { requireWhole } from './store-context.ts';
import type { Tables } from './tables.ts';

/** Which shots are meant. */
export interface ShotFilter {
  readonly sessionId?: string;
  readonly setId?: string;
  readonly playerId?: string;
  /** Any of these sessions, or of these players. */
  readonly sessionIds?: readonly string[];
  readonly playerIds?: readonly string[];
  readonly fromS?: number;
  readonly untilS?: number;
  /** Sets with this level of this condition. */
  readonly factor?: { readonly factor: string; readonly level: string };
  /** Only shots after this one of the same order: the page before ended there. */
  readonly after?: { readonly atS: number; readonly id: string };
  /** Only shots before this one of the same order. */
  readonly before?: { readonly atS: number; readonly id: string };
  readonly limit?: number;
  /** Where there are more than the limit, the last of them instead of the first, the last one first. */
  readonly newestFirst?: boolean;
}

/** @returns the query of shots with their current results, in the order of their time or against it. */
export function shotQuery(db: Kysely<Tables>, clubId: string, filter: ShotFilter) {
  let query = db
    .selectFrom('shot')
    .innerJoin('shot_result', (join) =>
      join.onRef('shot_result.shot_id', '=', 'shot.id').on('shot_result.is_current', '=', 1),
    )
    .selectAll('shot')
    .select([
      'shot_result.analysis_version as result_version',
      'shot_result.created_s as result_created_s',
      'shot_result.parameters as result_parameters',
      'shot_result.document as result_document',
    ])
    .where('shot.club_id', '=', clubId);
  const { sessionId, setId, playerId, sessionIds, playerIds, fromS, untilS, factor, after, before } = filter;
  if (sessionId !== undefined) query = query.where('shot.session_id', '=', sessionId);
  if (setId !== undefined) query = query.where('shot.set_id', '=', setId);
  if (playerId !== undefined) query = query.where('shot.player_id', '=', playerId);
  if (sessionIds !== undefined) query = query.where('shot.session_id', 'in', [...sessionIds]);
  if (playerIds !== undefined) query = query.where('shot.player_id', 'in', [...playerIds]);
  // Where the page before ended, the index is entered.
  const sinceS = after === undefined ? fromS : Math.max(after.atS, fromS ?? after.atS);
  if (sinceS !== undefined) query = query.where('shot.at_s', '>=', sinceS);
  if (untilS !== undefined) query = query.where('shot.at_s', '<', untilS);
  if (before !== undefined) {
    query = query
      .where('shot.at_s', '<=', before.atS)
      .where(({ eb, refTuple, tuple }) => eb(refTuple('shot.at_s', 'shot.id'), '<', tuple(before.atS, before.id)));
  }
  if (factor !== undefined) {
    query = query.where('shot.set_id', 'in', (eb) =>
      eb
        .selectFrom('set_factor')
        .select('set_id')
        .where('club_id', '=', clubId)
        .where('factor', '=', factor.factor)
        .where('level', '=', factor.level),
    );
  }
  if (after !== undefined) {
    query = query.where(({ eb, refTuple, tuple }) =>
      eb(refTuple('shot.at_s', 'shot.id'), '>', tuple(after.atS, after.id)),
    );
  }
  const limit = requireWhole('number of shots', filter.limit ?? 1000, 1, 10_000);
  const order = filter.newestFirst ? 'desc' : 'asc';
  return query.orderBy('shot.at_s', order).orderBy('shot.id', order).limit(limit);
}
