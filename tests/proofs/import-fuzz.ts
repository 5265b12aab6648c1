import { existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { Writable } from 'node:stream';
import { importFiles } from '../../src/cli/club/import-files.ts';
import { UsageError } from '../../src/cli/usage-error.ts';
import { SeamwiseError } from '../../src/foundation/errors.ts';
import { databaseFile, recordingsFolder } from '../../src/server/practice/practice-keeper.ts';
import { ClubStore } from '../../src/sessions/database/club-store.ts';
import { type OpenedSqlite, openSqlite } from '../../src/sessions/database/open-sqlite.ts';
import { parseCsvMapping } from '../../src/sessions/exchange/csv-mapping.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { madeNotifications, writeRecording } from '../sessions/recording/made-recording.ts';
import { uniformFrom } from '../signal/simulated-sensor-clock.ts';
import { goal, type Prove } from './proof.ts';

export type FuzzKind = 'csv' | 'mcap' | 'mapping';

export interface ImportFuzzFigures {
  readonly files: number;
  /** Taken as a whole. */
  readonly taken: number;
  /** Refused with a sentence. */
  readonly refused: number;
  /** Errors that are none of the program's own: a crash. */
  readonly crashes: number;
  /** Refused, but something was kept: a session, a shot, a sensor, a file. */
  readonly partial: number;
  /** Taken, but not as one session. */
  readonly torn: number;
  /** Refused without saying what was expected, or of which file. */
  readonly unclear: number;
  /** How often each code or kind of refusal came. */
  readonly refusals: Readonly<Record<string, number>>;
  /** The first things that went wrong, with the number of the file. */
  readonly examples: readonly string[];
}

const quiet = new Writable({ write: (_chunk, _encoding, done) => done() });
const nasty = [
  '',
  'NaN',
  '1e999',
  '-1e400',
  '""',
  '"',
  '"a,b"',
  '=1+1',
  '0x10',
  '∞',
  '1,5',
  ' 3 ',
  '-0',
  '1e-320',
  '\u0000',
  'x'.repeat(20_000),
];

type Draw = (end: number) => number;

/**
 * Imports damaged files one after another into one club and looks after each what was kept.
 *
 * @param count files of each kind.
 */
export async function fuzzImport(kind: FuzzKind, count: number, seed: number): Promise<ImportFuzzFigures> {
  const uniform = uniformFrom(seed);
  const upTo: Draw = (end) => Math.floor(end * uniform());
  const folder = mkdtempSync(path.join(tmpdir(), 'import-fuzz-'));
  const dataFolder = path.join(folder, 'data');
  mkdirSync(dataFolder);
  const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => 1_764_000_000 });
  const database = openSqlite(path.join(dataFolder, databaseFile));
  const good = { csv: goodCsv(uniform), mcap: await goodMcap(path.join(folder, 'good.mcap')) };
  const figures = { taken: 0, refused: 0, crashes: 0, partial: 0, torn: 0, unclear: 0 };
  const refusals: Record<string, number> = {};
  const examples: string[] = [];
  const tell = (key: 'crashes' | 'partial' | 'torn' | 'unclear', at: number, why: string): void => {
    figures[key] += 1;
    if (examples.length < 10) examples.push(`${kind} ${at}: ${key}: ${why.slice(0, 300)}`);
  };
  let before = kept(database, dataFolder);
  for (let at = 0; at < count; at++) {
    const file = path.join(folder, `fuzzed-${at}.${kind === 'mcap' ? 'mcap' : 'csv'}`);
    writeFileSync(
      file,
      kind === 'csv' ? damageText(good.csv, upTo) : kind === 'mcap' ? damageBytes(good.mcap, upTo) : good.csv,
    );
    const mappingText = kind === 'mapping' ? damagedMapping(upTo) : null;
    let failure: unknown = null;
    try {
      const mapping = mappingText === null ? null : parseCsvMapping(mappingText, `fuzzed-${at}.json`);
      await importFiles(store, dataFolder, [file], {
        settings: defaultBallSettings,
        saidSettings: {},
        sources: [{ placement: kind === 'mcap' ? null : 'ball', mount: null, mapping, filterDelayS: null }],
        playerId: null,
        startedS: 1_764_000_000,
        timeZone: 'UTC',
        name: null,
        csvWords: [],
        stderr: quiet,
      });
      figures.taken += 1;
    } catch (error) {
      failure = error;
    }
    const after = kept(database, dataFolder);
    if (failure === null) {
      const isWhole =
        after.sessions === before.sessions + 1 && after.files === before.files + (kind === 'mcap' ? 1 : 0);
      if (!isWhole) tell('torn', at, JSON.stringify({ before, after }));
    } else {
      figures.refused += 1;
      const isOwn = failure instanceof SeamwiseError || failure instanceof UsageError;
      const code = failure instanceof SeamwiseError ? failure.code : failure instanceof UsageError ? 'usage' : 'crash';
      refusals[code] = (refusals[code] ?? 0) + 1;
      const message =
        failure instanceof Error ? (isOwn ? failure.message : (failure.stack ?? failure.message)) : String(failure);
      if (!isOwn) tell('crashes', at, message);
      else if (!/expected/.test(message) || !message.includes(`fuzzed-${at}`)) tell('unclear', at, message);
      if (JSON.stringify(after) !== JSON.stringify(before)) tell('partial', at, JSON.stringify({ before, after }));
    }
    before = after;
    rmSync(file, { force: true });
  }
  database.close();
  await store.close();
  rmSync(folder, { recursive: true, force: true });
  return { files: count, ...figures, refusals, examples };
}

/** Rows of every table that an import writes into, and recordings. */
interface Kept {
  readonly sessions: number;
  readonly shots: number;
  readonly results: number;
  readonly sensors: number;
  readonly marks: number;
  readonly edits: number;
  readonly files: number;
}

function kept(database: OpenedSqlite, dataFolder: string): Kept {
  const count = (table: string) =>
    Number(Object.values(database.prepare(`select count(*) from ${table}`).all([])[0] as object)[0]);
  const recordings = path.join(dataFolder, recordingsFolder);
  return {
    sessions: count('session'),
    shots: count('shot'),
    results: count('shot_result'),
    sensors: count('sensor'),
    marks: count('mark'),
    edits: count('edit'),
    files: existsSync(recordings) ? readdirSync(recordings).length : 0,
  };
}

/** Two seconds of a ball in somebody's hands. */
function goodCsv(uniform: () => number): string {
  const rows = Array.from({ length: 200 }, (_, at) => {
    const values = [0, 0, 9.8, 0, 0, 0].map((mean) => (mean + uniform() - 0.5).toFixed(4));
    return [(at / 100).toFixed(2), ...values].join(',');
  });
  return ['t_s,ax_mps2,ay_mps2,az_mps2,gx_radps,gy_radps,gz_radps', ...rows, ''].join('\n');
}

async function goodMcap(file: string): Promise<Uint8Array> {
  return new Uint8Array(await writeRecording(file, madeNotifications(60)));
}

function damageText(good: string, upTo: Draw): Uint8Array {
  const lines = good.split('\n');
  for (let times = 1 + upTo(4); times > 0; times--) damageLines(lines, upTo);
  const bytes = Buffer.from(lines.join(['\n', '\n', '\n', '\r\n', '\r'][upTo(5)] ?? '\n'));
  if (upTo(4) === 0) return damageBytes(bytes, upTo);
  return upTo(20) === 0 ? Buffer.concat([Buffer.from([0xef, 0xbb, 0xbf]), bytes]) : bytes;
}

function damageLines(lines: string[], upTo: Draw): void {
  const at = upTo(3) === 0 ? 0 : upTo(lines.length);
  const cells = (lines[at] ?? '').split(',');
  switch (upTo(8)) {
    case 0:
      lines.splice(at, 1 + upTo(100));
      break;
    case 1:
      lines.splice(at, 0, lines[upTo(lines.length)] ?? '');
      break;
    case 2:
      cells.splice(upTo(cells.length), 1);
      lines[at] = cells.join(',');
      break;
    case 3:
      cells[upTo(7)] = nasty[upTo(nasty.length)] ?? '';
      lines[at] = cells.join(',');
      break;
    case 4: {
      const column = upTo(7);
      const put = nasty[upTo(nasty.length - 1)] ?? '';
      for (let row = 1; row < lines.length; row++) {
        const own = (lines[row] ?? '').split(',');
        own[column] = put;
        lines[row] = own.join(',');
      }
      break;
    }
    case 5:
      lines[0] = ['t_ms', 'a,b', '', 't_s;ax_g', 't_s,ax_mps2', '"', 't_s,t_s,ax_g,ay_g,az_g', 'sep=,'][upTo(8)] ?? '';
      break;
    case 6:
      lines.reverse();
      break;
    default:
      lines.length = upTo(lines.length + 1);
  }
}

function damageBytes(good: Uint8Array, upTo: Draw): Uint8Array {
  const bytes = good.slice();
  switch (upTo(5)) {
    case 0:
      return bytes.slice(0, upTo(bytes.length + 1));
    case 1: {
      for (let flips = 1 + upTo(64); flips > 0; flips--) {
        const bit = upTo(8 * bytes.length);
        bytes[bit >> 3] = (bytes[bit >> 3] ?? 0) ^ (1 << (bit & 7));
      }
      return bytes;
    }
    case 2: {
      const from = upTo(bytes.length);
      for (let k = from; k < Math.min(bytes.length, from + upTo(400)); k++) bytes[k] = upTo(256);
      return bytes;
    }
    case 3: {
      const [from, to] = [upTo(bytes.length), upTo(bytes.length)];
      return Uint8Array.from([...bytes.slice(0, from), ...bytes.slice(to)]);
    }
    default:
      // A length field that promises more than there is.
      for (let k = 0, at = upTo(bytes.length); k < 8; k++) bytes[at + k] = 0xff;
      return bytes;
  }
}

const junk: readonly unknown[] = [
  null,
  0,
  -1,
  1e308,
  '',
  'ms',
  'rpm',
  [],
  {},
  [1, 2, 3],
  ['a'],
  true,
  '__proto__',
  { unit: 'g' },
];

function damagedMapping(upTo: Draw): string {
  const mapping: Record<string, Record<string, unknown> | number> = {
    version: 1,
    time: { column: 't_s', unit: 's', scale: 1, offset: 0 },
    accel: { columns: ['ax_mps2', 'ay_mps2', 'az_mps2'], unit: 'mps2', scale: [1, 1, 1] },
    gyro: { columns: ['gx_radps', 'gy_radps', 'gz_radps'], unit: 'radps' },
  };
  for (let times = upTo(3); times > 0; times--) {
    const key = ['version', 'time', 'accel', 'gyro', 'extra'][upTo(5)] ?? '';
    const inside = mapping[key];
    const put = structuredClone(junk[upTo(junk.length)]) as never;
    if (typeof inside === 'object' && inside !== null && upTo(4) > 0) {
      const field = ['column', 'columns', 'unit', 'scale', 'offset', 'other'][upTo(6)] ?? '';
      if (upTo(4) === 0) delete inside[field];
      else inside[field] = put;
    } else if (upTo(3) === 0) delete mapping[key];
    else mapping[key] = put;
  }
  const text = JSON.stringify(mapping, null, upTo(3));
  return upTo(3) === 0 ? Buffer.from(damageBytes(Buffer.from(text), upTo)).toString('utf8') : text;
}

/** Ten thousand damaged CSV, MCAP and mapping files: each is taken as a whole or refused with a sentence, and then leaves nothing. */
export const prove: Prove = async ({ seed, scale, say }) => {
  const shares = { csv: 4000, mcap: 3000, mapping: 3000 } as const;
  const figures: Record<string, ImportFuzzFigures> = {};
  const goals = [];
  for (const kind of ['csv', 'mcap', 'mapping'] as const) {
    const own = await fuzzImport(kind, Math.ceil(shares[kind] * scale), seed(kind));
    figures[kind] = own;
    say(`${kind}: ${JSON.stringify(own)}`);
    for (const key of ['crashes', 'partial', 'torn', 'unclear'] as const) {
      goals.push(goal(`${kind} files: ${key}`, own[key], { atMost: 0 }));
    }
    // Damage that hardly ever matters, or always does, would prove little.
    goals.push(goal(`${kind} files: share refused`, own.refused / own.files, { atLeast: 0.1, atMost: 0.95 }));
  }
  return { goals, files: 10_000 * scale, kinds: figures };
};
