import type { CutSpan } from '../recording/cut-recording.ts';
import type { StoreContext } from './store-context.ts';

/** What of a player lies in recordings and has to be cut out of them. */
export interface RecordedTraces {
  readonly recording: string;
  /** True when nobody else is in it: then the whole file goes. */
  readonly isAllOfIt: boolean;
  readonly spans: readonly CutSpan[];
}

/** Before a release and after it, s: from the gather to where the ball has come to rest. */
const beforeS = 15;
const afterS = 10;

/**
 * @returns where a player lies in recordings: around each of the player's shots, in every sensor that saw it; and a sensor from
 * end to end where all shots of it in that session are the player's, since it was the player who held it in between.
 */
export async function recordedTraces({ db, clubId }: StoreContext, playerId: string): Promise<RecordedTraces[]> {
  const rows = await db
    .selectFrom('shot')
    .innerJoin('session', 'session.id', 'shot.session_id')
    .innerJoin('shot_result', (join) =>
      join.onRef('shot_result.shot_id', '=', 'shot.id').on('shot_result.is_current', '=', 1),
    )
    .select([
      'shot.sensor_id',
      'shot.at_s',
      'shot.player_id',
      'session.id as session_id',
      'session.recording',
      'shot_result.document',
    ])
    .where('shot.club_id', '=', clubId)
    .where('session.recording', 'is not', null)
    .where('session.id', 'in', (eb) =>
      eb.selectFrom('shot').select('session_id').where('player_id', '=', playerId).distinct(),
    )
    .execute();
  const shots = rows.map(({ document, sensor_id, ...row }) => ({
    ...row,
    isOwn: row.player_id === playerId,
    sensorIds: sensorsOf(sensor_id, JSON.parse(document) as SeenBy),
  }));
  const bySession = new Map<string, typeof shots>();
  for (const shot of shots) bySession.set(shot.session_id, [...(bySession.get(shot.session_id) ?? []), shot]);
  return [...bySession.values()].map((members) => {
    const shared = new Set(members.filter(({ isOwn }) => !isOwn).flatMap(({ sensorIds }) => sensorIds));
    const own = members.filter(({ isOwn }) => isOwn);
    const alone = new Set(own.flatMap(({ sensorIds }) => sensorIds).filter((id) => !shared.has(id)));
    return {
      recording: members[0]?.recording ?? '',
      isAllOfIt: own.length === members.length,
      spans: [
        ...[...alone].map((sensorId) => ({ sensorId, fromS: 0, untilS: Number.POSITIVE_INFINITY })),
        ...own.flatMap(({ sensorIds, at_s }) =>
          sensorIds
            .filter((id) => shared.has(id))
            .map((sensorId) => ({ sensorId, fromS: at_s - beforeS, untilS: at_s + afterS })),
        ),
      ],
    };
  });
}

/** Which sensors saw a shot, where there were two. */
interface SeenBy {
  readonly ball?: { readonly sensorId: string } | null;
  readonly wrist?: { readonly sensorId: string } | null;
}

/** @returns every sensor that saw a shot. */
export function sensorsOf(sensorId: string | null, { ball, wrist }: SeenBy): string[] {
  return [...new Set([sensorId, ball?.sensorId, wrist?.sensorId].filter((id) => id !== null && id !== undefined))];
}
