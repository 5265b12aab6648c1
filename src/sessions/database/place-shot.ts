import { runningRotations } from './rotation-records.ts';
import type { Connection, StoreContext } from './store-context.ts';

/** Where a shot comes from, as far as it matters for whose it is. */
export interface ShotOrigin {
  readonly sessionId: string;
  /** Every sensor that saw it. */
  readonly sensorIds: readonly string[];
  /** Host time of its release, s since the Unix epoch. */
  readonly atS: number;
}

export interface ShotOwner {
  readonly playerId: string | null;
  readonly setId: string | null;
}

/**
 * Decides whose a new shot is and to which set it belongs, and counts it in a round that it belongs to:
 *
 * 1. the owner of a sensor that saw it;
 * 2. else the player whose turn it is in a round for this sensor, or for all that are nobody's;
 * 3. else the player of the one set that runs for a player;
 * 4. else nobody, until somebody says whose it is.
 *
 * It belongs to the newest set that was running at its release, of that player or of nobody.
 *
 * @returns null when the sensor's owner has not agreed to being recorded: the shot is then not to be kept.
 */
export async function placeShot(
  trx: Connection,
  { clubId }: Pick<StoreContext, 'clubId'>,
  { sessionId, sensorIds, atS }: ShotOrigin,
): Promise<ShotOwner | null> {
  const owners = await ownersOf(trx, clubId, sensorIds);
  const [owner] = owners;
  if (owner !== undefined && !(await hasAgreed(trx, clubId, owner))) return null;
  const sets = await runningSets(trx, clubId, sessionId, atS);
  // Two sensors of two players saw it: nobody can know here whose it is.
  if (owners.length > 1) return { playerId: null, setId: setFor(sets, null) };
  const playerId = owner ?? (await takeTurn(trx, clubId, sessionId, sensorIds)) ?? onlyPlayerOf(sets);
  if (owner === undefined && playerId !== null && !(await hasAgreed(trx, clubId, playerId))) {
    return { playerId: null, setId: setFor(sets, null) };
  }
  return { playerId, setId: setFor(sets, playerId) };
}

interface RunningSet {
  readonly id: string;
  readonly player_id: string | null;
}

/** Newest first. */
async function runningSets(db: Connection, clubId: string, sessionId: string, atS: number): Promise<RunningSet[]> {
  return db
    .selectFrom('shot_set')
    .select(['id', 'player_id'])
    .where('session_id', '=', sessionId)
    .where('club_id', '=', clubId)
    .where('started_s', '<=', atS)
    .where((eb) => eb.or([eb('ended_s', 'is', null), eb('ended_s', '>', atS)]))
    .orderBy('started_s', 'desc')
    .orderBy('id', 'desc')
    .execute();
}

function setFor(sets: readonly RunningSet[], playerId: string | null): string | null {
  const own = playerId === null ? undefined : sets.find(({ player_id }) => player_id === playerId);
  return (own ?? sets.find(({ player_id }) => player_id === null))?.id ?? null;
}

function onlyPlayerOf(sets: readonly RunningSet[]): string | null {
  const players = new Set(sets.flatMap(({ player_id }) => (player_id === null ? [] : [player_id])));
  const [only] = players;
  return players.size === 1 && only !== undefined ? only : null;
}

async function ownersOf(db: Connection, clubId: string, sensorIds: readonly string[]): Promise<string[]> {
  if (sensorIds.length === 0) return [];
  const rows = await db
    .selectFrom('sensor')
    .select('owner_player_id')
    .distinct()
    .where('id', 'in', [...sensorIds])
    .where('club_id', '=', clubId)
    .where('owner_player_id', 'is not', null)
    .execute();
  return rows.flatMap(({ owner_player_id }) => (owner_player_id === null ? [] : [owner_player_id]));
}

/** @returns whether the player has agreed to being recorded and not withdrawn it. */
export async function hasAgreed(db: Connection, clubId: string, playerId: string): Promise<boolean> {
  const consent = await db
    .selectFrom('consent')
    .select('id')
    .where('player_id', '=', playerId)
    .where('scope', '=', 'record')
    .where('club_id', '=', clubId)
    .where('withdrawn_s', 'is', null)
    .executeTakeFirst();
  return consent !== undefined;
}

/** Counts the shot in the round that it belongs to. @returns the player whose turn it was, or null without such a round. */
async function takeTurn(
  trx: Connection,
  clubId: string,
  sessionId: string,
  sensorIds: readonly string[],
): Promise<string | null> {
  const rounds = await runningRotations(trx, clubId, sessionId);
  const round =
    rounds.find(({ sensor_id }) => sensor_id !== null && sensorIds.includes(sensor_id)) ??
    rounds.find(({ sensor_id }) => sensor_id === null);
  if (!round || round.playerIds.length === 0) return null;
  // Who has withdrawn is passed over.
  let turn = round.turn;
  let playerId: string | null = null;
  for (const last = turn + round.playerIds.length; turn < last; turn++) {
    const id = round.playerIds[turn % round.playerIds.length] as string;
    if (!(await hasAgreed(trx, clubId, id))) continue;
    playerId = id;
    break;
  }
  if (playerId === null) return null;
  const shotsInTurn = (turn === round.turn ? round.shots_in_turn : 0) + 1;
  const isOver = shotsInTurn >= round.shots_each;
  await trx
    .updateTable('rotation')
    .set({ turn: isOver ? turn + 1 : turn, shots_in_turn: isOver ? 0 : shotsInTurn })
    .where('id', '=', round.id)
    .execute();
  return playerId;
}
