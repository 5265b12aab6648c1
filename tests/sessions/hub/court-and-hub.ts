import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { addPostgresClub } from '../../../src/sessions/database/postgres/postgres-engine.ts';
import type { Actor } from '../../../src/sessions/database/store-context.ts';
import type { HandedDocument } from '../../../src/sessions/hub/handed-tables.ts';
import { handedColumns, handedRow } from '../../../src/sessions/hub/handed-tables.ts';
import { hubItself } from '../../../src/sessions/hub/hub-records.ts';
import { sharedCluster } from '../../helpers/postgres-cluster.ts';

export const coach: Actor = { role: 'coach', name: 'Coach A' };

/** A clock that several databases share, so that it is known what was later. */
export interface SharedClock {
  nowS: number;
}

export async function memoryStore(clock: SharedClock): Promise<ClubStore> {
  return ClubStore.open({ file: ':memory:', nowS: () => clock.nowS });
}

let address: Promise<string> | undefined;

async function newDatabase(): Promise<string> {
  const cluster = await sharedCluster();
  return `${cluster.address(await cluster.createDatabase())}?connections=4`;
}

/** A hub on PostgreSQL, of a club of its own. @param apart in a database of its own too. */
export async function postgresHub(clock: SharedClock, apart = false): Promise<ClubStore> {
  address ??= newDatabase();
  const own = apart ? await newDatabase() : await address;
  const clubId = await addPostgresClub(own, clock.nowS, 'A club of a test');
  return ClubStore.open({ address: own, nowS: () => clock.nowS, clubId });
}

/** As it comes out of the network. */
export function travelled(documents: readonly HandedDocument[]): HandedDocument[] {
  return JSON.parse(JSON.stringify(documents)) as HandedDocument[];
}

/** Hands over all that a court has to tell, as the uploader does. @returns the documents. */
export async function handOver(court: ClubStore, hub: ClubStore, courtId: string): Promise<HandedDocument[]> {
  const all: HandedDocument[] = [];
  for (;;) {
    const after = await court.hub.position('handed');
    const { documents, upTo } = await court.hub.forHub(after, 20);
    if (documents.length === 0) return all;
    all.push(...travelled(documents));
    await hub.hub.take({ id: courtId, name: courtId }, travelled(documents));
    await court.hub.setPosition('handed', upTo);
  }
}

/** Tells a court what the hub has to say. */
export async function tellBack(hub: ClubStore, court: ClubStore): Promise<HandedDocument[]> {
  const { documents } = await hub.hub.forCourt(await court.hub.position('told'), 10_000);
  const told = travelled(documents);
  for (const document of [...told, ...told]) await court.hub.take(hubItself, [document]);
  if (told.length > 0) await court.hub.setPosition('told', Math.max(...told.map(({ seq }) => seq)));
  return told;
}

const compared = [
  ...(['session', 'shot_set', 'set_factor', 'shot', 'shot_result', 'time_correction', 'mark'] as const),
  ...(['player_target', 'best_set', 'own_drill', 'prescription', 'proof_block', 'load_entry', 'study'] as const),
  ...(['study_set', 'rotation', 'rotation_player', 'sensor_calibration'] as const),
] as const;

/** @returns the rows of what was handed over, by table and id. */
export async function rowsOf(store: ClubStore): Promise<Map<string, Record<string, unknown>>> {
  const rows = new Map<string, Record<string, unknown>>();
  for (const table of [...compared, 'player', 'consent'] as const) {
    const found = await store.context.db
      .selectFrom(table as 'player')
      .selectAll()
      .where('club_id', '=', store.clubId)
      .execute();
    for (const row of found) {
      const { club_id: _, ...rest } = row as Record<string, unknown>;
      if (Object.keys(rest).length !== Object.keys(handedColumns[table]).length) {
        throw new Error(`${table} has columns that are not handed over: ${Object.keys(rest).join(', ')}`);
      }
      rows.set(`${table} ${row.id}`, handedRow(table, rest) as Record<string, unknown>);
    }
  }
  return rows;
}
