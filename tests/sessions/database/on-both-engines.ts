import { afterAll, describe } from 'vitest';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { addPostgresClub } from '../../../src/sessions/database/postgres/postgres-engine.ts';
import { hasPostgres, noPostgres, sharedCluster } from '../../helpers/postgres-cluster.ts';

/** A store with a clock of its own that stands until it is told to go on. */
export interface OpenedStore {
  readonly store: ClubStore;
  readonly clock: { nowS: number };
}

export type OpenStore = () => Promise<OpenedStore>;

/** How often a property is tried, of so many times on SQLite: a server answers more slowly than memory. */
export type Runs = (onSqlite: number) => number;

const runsOnSqliteForOne = 5;

/** The same suite on SQLite and on PostgreSQL; each store that it opens is of a club of its own, with nothing in it. */
export function onBothEngines(suite: (openedStore: OpenStore, runs: Runs) => void): void {
  describe('on SQLite', () =>
    suite(
      async () => opened((nowS) => ClubStore.open({ file: ':memory:', nowS })),
      (count) => count,
    ));
  describe.skipIf(!hasPostgres)(hasPostgres ? 'on PostgreSQL' : `on PostgreSQL (${noPostgres})`, () => {
    let address: Promise<string> | undefined;
    const stores: ClubStore[] = [];
    const openedStore = () =>
      opened(async (nowS) => {
        address ??= newDatabase();
        const clubId = await addPostgresClub(await address, nowS(), 'A club of a test');
        const store = await ClubStore.open({ address: await address, nowS, clubId });
        stores.push(store);
        return store;
      });
    // A store in memory needs no closing, and many tests do without; connections hold up the end of the file.
    afterAll(() => Promise.all(stores.map((store) => store.close())));
    suite(openedStore, (count) => Math.ceil(count / runsOnSqliteForOne));
  });
}

async function newDatabase(): Promise<string> {
  const cluster = await sharedCluster();
  return `${cluster.address(await cluster.createDatabase())}?connections=4`;
}

async function opened(open: (nowS: () => number) => Promise<ClubStore>): Promise<OpenedStore> {
  const clock = { nowS: 1_764_000_000 };
  return { clock, store: await open(() => clock.nowS) };
}
