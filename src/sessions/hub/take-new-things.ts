import { sql, type Transaction } from 'kysely';
import { amongIds } from '../database/among-ids.ts';
import type { HandedEntity } from '../database/hub-tables.ts';
import type { Tables } from '../database/tables.ts';
import { type HandedDocument, type HandedRow, handedNeeds, handedRow } from './handed-tables.ts';
import { playerMark } from './player-mark.ts';

/** Documents of one court. */
export interface CourtDocuments {
  readonly from: { readonly id: string; readonly name: string };
  readonly documents: readonly HandedDocument[];
}

/** What is stored here, each before what may refer to it. */
const entities = ['sensor', 'session', 'shot'] as const;
type NewEntity = (typeof entities)[number];

interface NewThing {
  readonly courtId: string;
  readonly entity: NewEntity;
  readonly document: HandedDocument;
  readonly row: HandedRow;
  readonly results: readonly HandedRow[];
}

/**
 * Stores those of the documents that are sensors, sessions and shots which nobody knows yet and nobody has changed, of whatever courts, in a
 * few sentences for all together: of what comes in while courts shoot that is nearly everything. What they leave, `takeDocument` takes one
 * by one; so it stores what that would have stored.
 *
 * @returns the documents that were stored.
 */
export async function takeNewThings(
  trx: Transaction<Tables>,
  clubId: string,
  groups: readonly CourtDocuments[],
): Promise<ReadonlySet<HandedDocument>> {
  const candidates = onlyOnce(
    groups.flatMap(({ from, documents }) => documents.flatMap((document) => candidate(from.id, document))),
  );
  if (candidates.length === 0) return new Set();
  const known = await lookAt(trx, clubId, candidates);
  const stored = new Set<HandedDocument>();
  const fresh: NewThing[] = [];
  for (const entity of entities) {
    const things = candidates.filter((each) => each.entity === entity && isFresh(each, known));
    if (things.length === 0) continue;
    await insert(
      trx,
      clubId,
      entity,
      things.map(({ row }) => row),
    );
    for (const { document } of things) {
      stored.add(document);
      known.add(`${entity} ${document.id}`);
    }
    fresh.push(...things);
  }
  if (fresh.length === 0) return stored;
  const results = fresh.flatMap((each) => each.results);
  if (results.length > 0) await insert(trx, clubId, 'shot_result', results);
  await trx
    .insertInto('hub_seen')
    .values(
      fresh.map(({ courtId, document: { entity, id, seq } }) => {
        return { club_id: clubId, court_id: courtId, entity, entity_id: id, seq };
      }),
    )
    .execute();
  return stored;
}

/** Two courts may tell of one sensor at once, and one court twice of one shot. */
function onlyOnce(things: readonly NewThing[]): NewThing[] {
  const counts = new Map<string, number>();
  const key = ({ entity, document }: NewThing): string => `${entity} ${document.id}`;
  for (const thing of things) counts.set(key(thing), (counts.get(key(thing)) ?? 0) + 1);
  return things.filter((thing) => counts.get(key(thing)) === 1);
}

function candidate(courtId: string, document: HandedDocument): NewThing[] {
  const { id, row, parts } = document;
  const entity = entities.find((each) => each === document.entity);
  if (entity === undefined || row === null || row.id !== id) return [];
  const { shot_result: results = [], time_correction: corrections = [] } = parts;
  if (entity === 'shot') {
    const isWhole = results.length > 0 && results.every(({ shot_id }) => shot_id === id);
    if (!isWhole || corrections.length > 0) return [];
  }
  const handed = results.map((each) => handedRow('shot_result', each));
  return [{ courtId, entity, document, row: handedRow(entity, row), results: handed }];
}

function isFresh({ entity, document, row }: NewThing, known: ReadonlySet<string>): boolean {
  if (known.has(`seen ${entity} ${document.id}`) || known.has(`${entity} ${document.id}`)) return false;
  if (known.has(`edited ${document.id}`) || known.has(`results ${document.id}`)) return false;
  const players = [row.player_id, row.owner_player_id].filter((each) => typeof each === 'string');
  if (players.some((playerId) => known.has(`notice ${playerMark(playerId)}`))) return false;
  return Object.entries(handedNeeds[entity] ?? {}).every(([column, needed]) => {
    const id = row[column];
    return typeof id !== 'string' || known.has(`${needed} ${id}`);
  });
}

/** @returns what of all that matters is there, each named by what it is and its id. */
async function lookAt(trx: Transaction<Tables>, clubId: string, things: readonly NewThing[]): Promise<Set<string>> {
  const idsOf = (entity: NewEntity) =>
    things.filter((each) => each.entity === entity).map(({ document }) => document.id);
  const column = (...names: readonly string[]) => [
    ...new Set(
      things.flatMap(({ row }) =>
        names.flatMap((name) => {
          const id = row[name];
          return typeof id === 'string' ? [id] : [];
        }),
      ),
    ),
  ];
  const players = column('player_id', 'owner_player_id');
  const resultIds = things.flatMap(({ results }) => results.map(({ id }) => String(id)));
  const found = (what: string, table: string, id: string, ids: readonly string[], told = id) =>
    sql`select ${sql.lit(what)} as what, ${sql.ref(told)} as id from ${sql.table(table)}
      where club_id = ${clubId} and ${amongIds(trx, id, ids)}`;
  const looks = [
    ...entities.map(
      (entity: HandedEntity) => sql`select ${sql.lit(`seen ${entity}`)} as what, entity_id as id from hub_seen
        where club_id = ${clubId} and entity = ${sql.lit(entity)} and ${amongIds(trx, 'entity_id', idsOf(entity as NewEntity))}`,
    ),
    found('shot', 'shot', 'id', idsOf('shot')),
    found('session', 'session', 'id', [...idsOf('session'), ...column('session_id')]),
    found('sensor', 'sensor', 'id', [...idsOf('sensor'), ...column('sensor_id')]),
    found('shot_set', 'shot_set', 'id', column('set_id')),
    found('player', 'player', 'id', players),
    found('notice', 'player_notice', 'id', players.map(playerMark)),
    found(
      'edited',
      'edit',
      'row_id',
      things.map(({ document }) => document.id),
    ),
    // A result that a shot has already: the ordinary way tells what is wrong.
    found('results', 'shot_result', 'id', resultIds, 'shot_id'),
  ];
  const { rows } = await sql<{ what: string; id: string }>`${sql.join(looks, sql` union all `)}`.execute(trx);
  return new Set(rows.map(({ what, id }) => `${what} ${id}`));
}

async function insert(
  trx: Transaction<Tables>,
  clubId: string,
  table: NewEntity | 'shot_result',
  rows: readonly HandedRow[],
): Promise<void> {
  await trx
    .insertInto(table as 'shot')
    .values(rows.map((row) => ({ ...row, club_id: clubId }) as never))
    .execute();
}
