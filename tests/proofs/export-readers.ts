import { execFileSync } from 'node:child_process';
import { cpSync, mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { open } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import process from 'node:process';
import { pathToFileURL } from 'node:url';
import { McapIndexedReader } from '@mcap/core';
import { databaseFile } from '../../src/server/practice/practice-keeper.ts';
import { ClubStore } from '../../src/sessions/database/club-store.ts';
import { encodePairedPractice } from '../../src/simulate/arm/wrist-encoded.ts';
import { drawWristPlan, pairedDecoyKinds } from '../../src/simulate/arm/wrist-plan.ts';
import { runCli } from '../cli/run-cli.ts';
import { checkBids } from '../helpers/check-bids.ts';
import { writePair } from '../helpers/write-pair.ts';
import { coach, madeResult } from '../sessions/database/opened-store.ts';
import { installTool } from '../tools/install-tool.ts';
import { goal, type Prove } from './proof.ts';

/** A table as both of its files give it. */
interface TableFigures {
  readonly rows: number;
  readonly columns: number;
  /** Rows that stand in one file and not in the other. */
  readonly different: number;
  /** Sums of all columns of numbers, of both files. */
  readonly sums: Readonly<Record<string, readonly [number, number]>>;
  readonly differentSums: number;
}

interface Duck {
  rows(sql: string): Promise<Record<string, unknown>[]>;
}

/** Two practices of a ball and an arm sensor and many made shots, of players who agreed. */
async function makeClub(folder: string, seed: number, shots: number, practices: number): Promise<string> {
  const dataFolder = path.join(folder, 'data');
  await run(dataFolder, 'players', 'add', 'Player 07');
  for (const scope of ['record', 'export']) {
    await run(dataFolder, 'players', 'consent', 'Player 07', scope, '--by', 'parent');
  }
  for (let at = 0; at < practices; at++) {
    const file = path.join(folder, `practice-${at}.mcap`);
    const plan = drawWristPlan(seed + at, { shots: 3, decoys: 1, decoyKinds: pairedDecoyKinds });
    await writePair(file, encodePairedPractice({ seed: seed + at, plan }));
    await run(dataFolder, 'import', file, '--player', 'Player 07');
  }
  const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => 1_764_000_000 });
  const [player] = await store.players.list();
  const words = { name: '', timeZone: 'UTC', simulated: false, recording: null, settings: {} };
  const sessionId = await store.sessions.start(coach, words);
  const factors = [{ factor: 'footwork', level: 'hop, then step "quick"' }];
  const setId = await store.sessions.startSet(coach, sessionId, { spot: 'left wing;\u00e9' }, factors);
  for (let index = 0; index < shots; index++) {
    const atS = 1_764_000_000 + index * 7.125;
    const place = { sessionId, setId, playerId: player?.id ?? null, sensorId: null, streamIndex: 0, atS };
    await store.shots.add(place, madeResult(index));
  }
  await store.close();
  return dataFolder;
}

async function run(dataFolder: string, ...words: string[]): Promise<string> {
  const readConfig = () => ({ port: 0, dataFolder, pageFolder: '' });
  const { code, stdout, stderr } = await runCli(words, { readConfig });
  if (code !== 0) throw new Error(`${words.join(' ')}: ${stderr}`);
  return stdout;
}

async function openDuck(): Promise<Duck | null> {
  const modules = installTool('duckdb');
  if (modules === null) return null;
  const entry = pathToFileURL(path.join(modules, '@duckdb', 'node-api', 'lib', 'index.js')).href;
  const { DuckDBInstance } = (await import(entry)) as {
    DuckDBInstance: {
      create(file: string): Promise<{
        connect(): Promise<{
          runAndReadAll(sql: string): Promise<{ getRowObjectsJS(): Record<string, unknown>[] }>;
        }>;
      }>;
    };
  };
  const connection = await (await DuckDBInstance.create(':memory:')).connect();
  return { rows: async (sql) => (await connection.runAndReadAll(sql)).getRowObjectsJS() };
}

/** Reads a table's two files and holds them against each other, row for row and sum for sum. */
async function compareTable(duck: Duck, stem: string): Promise<TableFigures> {
  const quoted = (text: string) => `'${text.replaceAll("'", "''")}'`;
  const parquet = `read_parquet(${quoted(`${stem}.parquet`)})`;
  const described = await duck.rows(`describe select * from ${parquet}`);
  const columns = described.map(({ column_name, column_type }) => ({
    name: String(column_name),
    type: String(column_type),
  }));
  // The types are those that the Parquet file states: a CSV file states none, and a column may be empty.
  const types = columns.map(({ name, type }) => `${quoted(name)}: ${quoted(type)}`).join(', ');
  const csv = `read_csv(${quoted(`${stem}.csv`)}, header = true, auto_detect = false, quote = '"', escape = '"', columns = {${types}})`;
  const [count] = await duck.rows(`select count(*)::int as n from ${parquet}`);
  const differing = async (one: string, other: string) =>
    Number(
      (await duck.rows(`select count(*)::int as n from (select * from ${one} except all select * from ${other})`))[0]
        ?.n,
    );
  const sums: Record<string, readonly [number, number]> = {};
  const numbers = columns.filter(({ type }) => type !== 'VARCHAR');
  if (numbers.length > 0) {
    // Summed with compensation, so that the order of the rows does not matter.
    const list = numbers.map(({ name }) => `coalesce(fsum("${name}"::double), 0) as "${name}"`).join(', ');
    const [ofParquet = {}] = await duck.rows(`select ${list} from ${parquet}`);
    const [ofCsv = {}] = await duck.rows(`select ${list} from ${csv}`);
    for (const { name } of numbers) sums[name] = [Number(ofCsv[name]), Number(ofParquet[name])];
  }
  return {
    rows: Number(count?.n),
    columns: columns.length,
    different: (await differing(csv, parquet)) + (await differing(parquet, csv)),
    sums,
    differentSums: Object.values(sums).filter(([one, other]) => !(Math.abs(one - other) <= 1e-12 * Math.abs(one)))
      .length,
  };
}

/** Reads a recording with the stock reader, by its index and with every checksum. */
async function readStock(file: string): Promise<{ messages: number; topics: number }> {
  const handle = await open(file, 'r');
  try {
    const readable = {
      size: () => Promise.resolve(BigInt(statSync(file).size)),
      read: async (offset: bigint, size: bigint) => {
        const bytes = new Uint8Array(Number(size));
        const { bytesRead } = await handle.read(bytes, 0, bytes.length, Number(offset));
        if (bytesRead < bytes.length)
          throw new Error(`${file}: expected ${size} bytes at ${offset}, came ${bytesRead}`);
        return bytes;
      },
    };
    const reader = await McapIndexedReader.Initialize({ readable });
    let messages = 0;
    for await (const _ of reader.readMessages({ validateCrcs: true })) messages += 1;
    if (BigInt(messages) !== reader.statistics?.messageCount)
      throw new Error(`${file}: not all messages are in the index`);
    return { messages, topics: reader.channelsById.size };
  } finally {
    await handle.close();
  }
}

/** @returns errors that the stock checker tells of a folder, by their keys; null where it cannot be had. */
function stockErrors(folder: string): string[] | null {
  const modules = installTool('bids-validator');
  if (modules === null) return null;
  const program = path.join(modules, 'bids-validator', 'bin', 'bids-validator');
  let text: string;
  try {
    text = execFileSync(process.execPath, [program, folder, '--json'], {
      encoding: 'utf8',
      stdio: ['ignore', 'pipe', 'ignore'],
      maxBuffer: 1e9,
    });
  } catch (error) {
    // It ends with an error code where it found an error, and has told it all the same.
    text = String((error as { stdout?: unknown }).stdout ?? '');
  }
  const { issues } = JSON.parse(text) as { issues: { errors: { key: string; files: unknown[] }[] } };
  return issues.errors.flatMap(({ key, files }) => files.map(() => key));
}

/** Faults that the stock checker passes over, put into copies of a sound folder. */
const planted: Readonly<Record<string, (motion: string) => void>> = {
  'a surplus column': (motion) => rewrite(motion, (text) => text.replaceAll(/$/gm, '\t1').replace(/\t1$/, '')),
  'a cell that is no number': (motion) => rewrite(motion, (text) => text.replace(/\t[^\t\n]+\n/, '\tabout 3\n')),
  'no channels': (motion) => rmSync(motion.replace('_motion.tsv', '_channels.tsv')),
};

function rewrite(file: string, change: (text: string) => string): void {
  writeFileSync(file, change(readFileSync(file, 'utf8')));
}

export interface ReaderFigures {
  readonly tables: Readonly<Record<string, TableFigures>> | null;
  readonly recordings: readonly { readonly messages: number; readonly topics: number }[];
  readonly stockErrors: readonly string[] | null;
  readonly ownFaults: readonly string[];
  /** Faults put into copies: how many this check and the stock one found. */
  readonly planted: Readonly<Record<string, { readonly own: number; readonly stock: number | null }>>;
}

/**
 * Exports a club in every form and reads it with programs of others.
 *
 * @param withStock whether the programs of others are installed where they are not yet; else only what is here reads.
 */
export async function readExport(
  seed: number,
  shots: number,
  practices: number,
  withStock: boolean,
): Promise<ReaderFigures> {
  const folder = mkdtempSync(path.join(tmpdir(), 'export-readers-'));
  try {
    const dataFolder = await makeClub(folder, seed, shots, practices);
    const out = path.join(folder, 'out');
    await run(dataFolder, 'export', out, '--samples', '--bids', '--raw');
    const duck = withStock ? await openDuck() : null;
    const files = readdirSync(out, { recursive: true, encoding: 'utf8' });
    const tables: Record<string, TableFigures> = {};
    for (const name of files.filter((each) => each.endsWith('.parquet'))) {
      const stem = name.replace('.parquet', '');
      if (duck) tables[stem] = await compareTable(duck, path.join(out, stem));
    }
    const recordings = [];
    for (const name of files.filter((each) => each.endsWith('.mcap')))
      recordings.push(await readStock(path.join(out, name)));
    const bids = path.join(out, 'bids');
    const found: Record<string, { own: number; stock: number | null }> = {};
    for (const [fault, plant] of Object.entries(planted)) {
      const copy = path.join(folder, 'planted');
      cpSync(bids, copy, { recursive: true });
      const motion = readdirSync(copy, { recursive: true, encoding: 'utf8' }).find((name) =>
        name.endsWith('_motion.tsv'),
      );
      plant(path.join(copy, motion ?? ''));
      found[fault] = { own: checkBids(copy).length, stock: withStock ? (stockErrors(copy)?.length ?? null) : null };
      rmSync(copy, { recursive: true });
    }
    return {
      tables: duck && tables,
      recordings,
      stockErrors: withStock ? stockErrors(bids) : null,
      ownFaults: checkBids(bids),
      planted: found,
    };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** What is exported, read by DuckDB, the stock MCAP reader and the stock BIDS checker. */
export const prove: Prove = async ({ seed, scale, say }) => {
  const figures = await readExport(seed('practices') % 100_000, Math.ceil(20_000 * scale), Math.ceil(10 * scale), true);
  const tables = Object.values(figures.tables ?? {});
  const sum = (of: (table: TableFigures) => number) => tables.reduce((total, table) => total + of(table), 0);
  say(`${tables.length} tables, ${sum(({ rows }) => rows)} rows; ${figures.recordings.length} recordings`);
  for (const fault of figures.ownFaults.slice(0, 10)) say(`BIDS: ${fault}`);
  return {
    goals: [
      goal('tables that DuckDB read', tables.length, { atLeast: 8 }),
      goal(
        'rows that CSV and Parquet do not share',
        sum(({ different }) => different),
        { atMost: 0 },
      ),
      goal(
        'sums that differ',
        sum(({ differentSums }) => differentSums),
        { atMost: 0 },
      ),
      goal('recordings that the stock reader read whole', figures.recordings.length, { atLeast: 1 }),
      goal('errors of the stock BIDS checker', figures.stockErrors?.length ?? Number.NaN, { atMost: 0 }),
      goal('faults by the own BIDS check', figures.ownFaults.length, { atMost: 0 }),
      goal(
        'planted faults that the own check found',
        Object.values(figures.planted).filter(({ own }) => own > 0).length,
        { atLeast: Object.keys(planted).length },
      ),
    ],
    rows: sum(({ rows }) => rows),
    shotSums: figures.tables?.shots?.sums,
    tables: Object.fromEntries(
      Object.entries(figures.tables ?? {}).map(([name, { rows, columns, different, differentSums }]) => [
        name,
        { rows, columns, different, differentSums },
      ]),
    ),
    recordings: figures.recordings,
    planted: figures.planted,
  };
};
