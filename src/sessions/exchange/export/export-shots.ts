import { existsSync, mkdirSync, rmSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { SeamwiseError } from '../../../foundation/errors.ts';
import type { ClubStore } from '../../database/club-store.ts';
import type { ShotFilter, StoredShot } from '../../database/shot-records.ts';
import { type DefinedMeasure, type ExportedShot, shotExportColumns } from './shot-columns.ts';
import { dictionaryColumns, dictionaryLines, writeCsvTable, writeParquetTable } from './write-tables.ts';

export interface ExportOptions {
  readonly folder: string;
  readonly filter: ShotFilter;
  readonly measures: readonly DefinedMeasure[];
  /** Of the program, for the citation. */
  readonly version: string;
  /** Shift of all instants, s; a player's practices keep their distances in time. */
  readonly shiftS: number;
  /** Where the key between names here and names in the export goes; none is written without. */
  readonly keyFile: string | null;
}

/** What an export holds, for whoever asked for it. */
export interface ExportReport {
  readonly shotCount: number;
  readonly playerCount: number;
  readonly sessionCount: number;
  readonly files: readonly string[];
  /** Shots that were left out, of players who have not agreed to an export. */
  readonly withheldCount: number;
}

const pageSize = 2000;

/**
 * Writes shots for a researcher: CSV and Parquet with a dictionary of their columns, under names made for this export. Shots
 * of players who have not agreed to an export are left out.
 *
 * @throws SeamwiseError `output-not-written` when the folder is there already or cannot be made; a failed export leaves nothing.
 */
export async function exportShots(store: ClubStore, options: ExportOptions): Promise<ExportReport> {
  const { folder, filter, measures, version, shiftS, keyFile } = options;
  for (const target of [folder, keyFile]) {
    if (target !== null && existsSync(target)) {
      throw new SeamwiseError(
        'output-not-written',
        `${target} is there already: an export is made anew, name another place`,
      );
    }
  }
  const names = new ExportNames();
  const willing = new Set<string>();
  for (const { id } of await store.players.list()) {
    const consents = await store.players.consents(id);
    if (consents.some(({ scope, withdrawn_s }) => scope === 'export' && withdrawn_s === null)) willing.add(id);
  }
  const rows: ExportedShot[] = [];
  let withheldCount = 0;
  for await (const stored of allShots(store, filter)) {
    if (stored.player_id !== null && !willing.has(stored.player_id)) withheldCount += 1;
    else rows.push(await exported(store, stored, names, shiftS));
  }
  const columns = shotExportColumns(measures);
  const written: string[] = [];
  try {
    mkdirSync(folder, { recursive: true, mode: 0o700 });
    const into = (name: string): string => {
      written.push(name);
      return path.join(folder, name);
    };
    await writeCsvTable(into('shots.csv'), columns, rows);
    writeParquetTable(into('shots.parquet'), columns, rows);
    await writeCsvTable(into('dictionary.csv'), dictionaryColumns, dictionaryLines('shots', columns));
    writeFileSync(into('README.txt'), readmeText(rows.length, shiftS !== 0), { mode: 0o600 });
    writeFileSync(into('CITATION.cff'), citationText(version), { mode: 0o600 });
    if (keyFile !== null) {
      writeFileSync(keyFile, `${JSON.stringify({ shiftS, ...names.key() }, null, 2)}\n`, { mode: 0o600 });
    }
  } catch (error) {
    rmSync(folder, { recursive: true, force: true });
    const why = error instanceof Error ? error.message : String(error);
    throw new SeamwiseError('output-not-written', `${folder} cannot be written: ${why}`);
  }
  return {
    shotCount: rows.length,
    playerCount: names.count('player'),
    sessionCount: names.count('session'),
    files: written,
    withheldCount,
  };
}

async function* allShots(store: ClubStore, filter: ShotFilter): AsyncGenerator<StoredShot> {
  let after: ShotFilter['after'];
  for (;;) {
    const page = await store.shots.list({ ...filter, limit: pageSize, ...(after && { after }) });
    yield* page;
    const last = page.at(-1);
    if (!last || page.length < pageSize) return;
    after = { atS: last.at_s, id: last.id };
  }
}

async function exported(
  store: ClubStore,
  stored: StoredShot,
  names: ExportNames,
  shiftS: number,
): Promise<ExportedShot> {
  return {
    stored,
    shiftS,
    player: names.of('player', stored.player_id),
    session: names.of('session', stored.session_id),
    sensor: names.of('sensor', stored.sensor_id),
    set: names.of('set', stored.set_id),
    conditions: await names.conditions(store, stored),
  };
}

/** Gives everything a number in the order in which it is met. */
class ExportNames {
  readonly #numbers = new Map<string, Map<string, string>>();
  readonly #conditions = new Map<string, string>();

  of(kind: 'player' | 'session' | 'sensor' | 'set', id: string | null): string {
    if (id === null) return '';
    let known = this.#numbers.get(kind);
    if (!known) {
      known = new Map();
      this.#numbers.set(kind, known);
    }
    const name = known.get(id) ?? `${kind}-${String(known.size + 1).padStart(3, '0')}`;
    known.set(id, name);
    return name;
  }

  async conditions(store: ClubStore, { session_id, set_id }: StoredShot): Promise<string> {
    if (set_id === null) return '';
    if (!this.#conditions.has(set_id)) {
      for (const set of await store.sessions.sets(session_id)) {
        this.#conditions.set(set.id, set.factors.map(({ factor, level }) => `${factor}=${level}`).join(';'));
      }
    }
    return this.#conditions.get(set_id) ?? '';
  }

  count(kind: string): number {
    return this.#numbers.get(kind)?.size ?? 0;
  }

  key(): Record<string, Record<string, string>> {
    return Object.fromEntries([...this.#numbers].map(([kind, known]) => [kind, Object.fromEntries(known)]));
  }
}

function readmeText(shotCount: number, isShifted: boolean): string {
  return `Shots measured by an inertial sensor: ${shotCount} rows in shots.csv and, the same, in shots.parquet.
dictionary.csv says what each column is: name, unit, definition, method, valid range.

An empty cell is a number that the sensor could not know; the column ending in _reason says why.

The data are pseudonymous, NOT anonymous: names are replaced and notes, addresses and serial numbers left out,${isShifted ? '\nall instants are moved by one shift,' : ''}
but somebody who was there may tell a player by the shots themselves. Treat them as personal data,
above all where minors shot. The key between names, if one was written, must be kept apart from them.

A cell that a spreadsheet would take for a formula starts with an apostrophe.
`;
}

function citationText(version: string): string {
  return `cff-version: 1.2.0
message: If you use these data, say which program measured them.
title: Seamwise
type: software
version: ${version}
license: Apache-2.0
`;
}
