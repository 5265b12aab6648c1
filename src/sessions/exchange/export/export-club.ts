/** One file past 400 lines: every table of an export follows from the names and shifts that the ones before it gave. */
import { existsSync, mkdirSync, rmSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { SeamwiseError } from '../../../foundation/errors.ts';
import type { ClubStore } from '../../database/club-store.ts';
import type { Player } from '../../database/player-records.ts';
import type { Session } from '../../database/session-records.ts';
import type { ShotFilter, StoredShot } from '../../database/shot-records.ts';
import { isOfClock, shotClock } from '../../database/time-correction-records.ts';
import { BidsFolder } from './bids-folder.ts';
import {
  blockColumns,
  blockRows,
  type CoachingScope,
  loadColumns,
  loadRows,
  studySetColumns,
  studySetRows,
  targetColumns,
  targetRows,
} from './coaching-columns.ts';
import { type DictionaryLine, dictionaryColumns, dictionaryLines } from './dictionary.ts';
import type { ExportColumn } from './export-column.ts';
import { goesOut, willingPlayers } from './export-consent.ts';
import { ExportNames, ExportShift } from './export-names.ts';
import { bidsReadmeText, citationText, readmeText } from './export-texts.ts';
import {
  conditionsText,
  type ExportedMark,
  type ExportedPlayer,
  type ExportedSet,
  markColumns,
  playerColumns,
  setColumns,
  streamColumns,
} from './other-columns.ts';
import { sampleColumns } from './sample-columns.ts';
import type { SampleSource } from './sample-source.ts';
import { SessionExport } from './session-export.ts';
import { type DefinedMeasure, type ExportedShot, measureColumnsOf, shotExportColumns } from './shot-columns.ts';
import { TableWriter } from './table-writer.ts';

export interface ExportOptions {
  readonly folder: string;
  readonly filter: Omit<ShotFilter, 'after' | 'limit'>;
  readonly measures: readonly DefinedMeasure[];
  /** Of the program, for the citation. */
  readonly version: string;
  readonly shift: 'none' | 'one' | 'per-player';
  /** A random number in [0, 1). */
  readonly uniform: () => number;
  /** Where the key between names here and names in the export goes; none is written without. */
  readonly keyFile: string | null;
  /** Shots of real people that nobody is named for go out too. */
  readonly withUnnamed: boolean;
  /** What is written beside the tables of shots; null where recordings are not to be read. */
  readonly recordings: {
    readonly source: SampleSource;
    readonly samples: boolean;
    readonly bids: boolean;
    readonly raw: boolean;
  } | null;
  /** Told who is in the export, by their ids here; the report, which may be shown, does not say. */
  readonly onPlayers?: (playerIds: readonly string[]) => void;
  /** Told which session of how many is being read. */
  readonly onSession?: (done: number, of: number) => void;
}

/** What an export holds, for whoever asked for it. */
export interface ExportReport {
  readonly shotCount: number;
  readonly playerCount: number;
  readonly sessionCount: number;
  readonly sampleCount: number;
  /** Paths under the folder. */
  readonly files: readonly string[];
  /** Shots that were left out, of players who have not agreed to an export. */
  readonly withheldCount: number;
  /** Shots that were left out because nobody is named for them. */
  readonly unnamedCount: number;
  /** Sessions whose recordings could not be read, with why. */
  readonly troubles: readonly string[];
}

const pageSize = 2000;

/**
 * Writes shots, and what was recorded around them, for a researcher: under names made for this export, with moved instants, and
 * nothing of players who have not agreed to an export. Memory stays bounded, however much there is.
 *
 * @throws SeamwiseError `output-not-written` when the folder is there already or cannot be made; a failed export leaves nothing.
 */
export async function exportClub(store: ClubStore, options: ExportOptions): Promise<ExportReport> {
  const { folder, keyFile } = options;
  for (const target of [folder, keyFile]) {
    if (target !== null && existsSync(target)) {
      throw new SeamwiseError(
        'output-not-written',
        `${target} is there already: an export is made anew, name another place`,
      );
    }
  }
  if (
    keyFile !== null &&
    !path.relative(folder, keyFile).startsWith('..') &&
    !path.isAbsolute(path.relative(folder, keyFile))
  ) {
    throw new SeamwiseError(
      'output-not-written',
      `the key ${keyFile} would lie in the export itself: it has to be kept apart from the data, name a place outside ${folder}`,
    );
  }
  try {
    return await new Export(store, options).write();
  } catch (error) {
    rmSync(folder, { recursive: true, force: true });
    if (keyFile !== null) rmSync(keyFile, { force: true });
    if (error instanceof SeamwiseError) throw error;
    const why = error instanceof Error ? error.message : String(error);
    throw new SeamwiseError('output-not-written', `${folder} cannot be written: ${why}. Nothing of it was left.`);
  }
}

class Export {
  readonly #store: ClubStore;
  readonly #options: ExportOptions;
  readonly #names = new ExportNames();
  readonly #shift: ExportShift;
  readonly #players = new Map<string, Player>();
  readonly #willing = new Set<string>();
  readonly #sessions = new Map<string, Session>();
  /** Conditions of the sets of sessions that were met. */
  readonly #conditions = new Map<string, string>();
  readonly #files: string[] = [];
  readonly #open: { abandon(): Promise<void> }[] = [];
  #withheldCount = 0;
  #unnamedCount = 0;

  constructor(store: ClubStore, options: ExportOptions) {
    this.#store = store;
    this.#options = options;
    this.#shift = new ExportShift(options.shift, options.uniform);
  }

  async write(): Promise<ExportReport> {
    const { folder, version, keyFile, recordings } = this.#options;
    try {
      mkdirSync(folder, { recursive: true, mode: 0o700 });
      await this.#learnPlayers();
      const shotColumns = shotExportColumns(this.#options.measures);
      const shotCount = await this.#writeShots(shotColumns);
      const { setIds } = this.#seen;
      await this.#writeTable('players', playerColumns, this.#playerRows());
      await this.#writeTable('sets', setColumns, this.#setRows(setIds));
      await this.#writeTable('marks', markColumns, this.#markRows());
      const scope = this.#coachingScope(setIds);
      await this.#writeTable('targets', targetColumns, targetRows(this.#store, scope));
      await this.#writeTable('blocks', blockColumns, blockRows(this.#store, scope));
      await this.#writeTable('load', loadColumns, loadRows(this.#store, scope));
      await this.#writeTable('study_sets', studySetColumns, studySetRows(this.#store, scope));
      const { sampleCount, troubles } = await this.#writeRecordings();
      await this.#writeDictionary(shotColumns);
      const readme = readmeText({
        shotCount,
        hasSamples: recordings?.samples === true,
        hasBids: recordings?.bids === true,
        hasRaw: recordings?.raw === true,
        shift: this.#shift.kind,
      });
      this.#put('README.txt', readme);
      this.#put('CITATION.cff', citationText(version));
      if (keyFile !== null) {
        const key = {
          keepApart: 'this leads from the export back to players, sessions and sensors of this club',
          shiftS: this.#shift.key(),
          ...this.#names.key(),
        };
        writeFileSync(keyFile, `${JSON.stringify(key, null, 2)}\n`, { mode: 0o600, flag: 'wx' });
      }
      this.#options.onPlayers?.(Object.keys(this.#names.key().player ?? {}));
      return {
        shotCount,
        playerCount: this.#names.count('player'),
        sessionCount: this.#names.count('session'),
        sampleCount,
        files: this.#files,
        withheldCount: this.#withheldCount,
        unnamedCount: this.#unnamedCount,
        troubles,
      };
    } catch (error) {
      await Promise.allSettled(this.#open.map((writer) => writer.abandon()));
      throw error;
    }
  }

  readonly #seen = { setIds: new Set<string>() };

  async #learnPlayers(): Promise<void> {
    for (const player of await this.#store.players.list()) this.#players.set(player.id, player);
    for (const id of await willingPlayers(this.#store)) this.#willing.add(id);
  }

  async #writeShots(columns: readonly ExportColumn<ExportedShot>[]): Promise<number> {
    const table = await this.#table('shots', columns);
    for await (const { stored, corrections } of allShots(this.#store, this.#options.filter)) {
      const session = await this.#sessionOf(stored.session_id);
      if (!this.#goesOut(stored, session)) {
        if (stored.player_id === null) this.#unnamedCount += 1;
        else this.#withheldCount += 1;
        continue;
      }
      if (stored.set_id !== null) this.#seen.setIds.add(stored.set_id);
      await table.add(this.#exported(stored, session, corrections));
    }
    await table.close();
    return table.rowCount;
  }

  #goesOut(shot: StoredShot, session: Session): boolean {
    return goesOut(shot, session, { willing: this.#willing, withUnnamed: this.#options.withUnnamed });
  }

  #exported(stored: StoredShot, session: Session, corrections: Corrections): ExportedShot {
    const clock = shotClock(stored.sensor_id, stored.stream_index, stored.result.shot);
    return {
      stored,
      byHand: (corrections.get(stored.id) ?? []).filter((each) => isOfClock(each, clock)),
      shiftS: this.#shift.of(stored.player_id, session.started_s),
      sessionStartedS: session.started_s,
      player: this.#names.of('player', stored.player_id),
      session: this.#names.of('session', stored.session_id),
      sensor: this.#names.of('sensor', stored.sensor_id),
      set: this.#names.of('set', stored.set_id),
      conditions: (stored.set_id !== null && this.#conditions.get(stored.set_id)) || '',
    };
  }

  async #sessionOf(id: string): Promise<Session> {
    const known = this.#sessions.get(id);
    if (known) return known;
    const session = await this.#store.sessions.get(id);
    for (const set of await this.#store.sessions.sets(id)) this.#conditions.set(set.id, conditionsText(set.factors));
    this.#sessions.set(id, session);
    return session;
  }

  /** Sessions of which a shot goes out, in the order in which they were met. */
  get #exportedSessions(): Session[] {
    return Object.keys(this.#names.key().session ?? {}).flatMap((id) => this.#sessions.get(id) ?? []);
  }

  /** Coaching goes out with its player, and a set by name where its shots do. */
  #coachingScope(setIds: ReadonlySet<string>): CoachingScope {
    return {
      players: this.#names.key().player ?? {},
      setName: (id) => (setIds.has(id) ? this.#names.of('set', id) : null),
      shiftOf: (playerId, atS) => this.#shift.of(playerId, atS),
    };
  }

  *#playerRows(): Generator<ExportedPlayer> {
    for (const [id, name] of Object.entries(this.#names.key().player ?? {})) {
      const player = this.#players.get(id);
      if (player) yield { player, name };
    }
  }

  async *#setRows(setIds: ReadonlySet<string>): AsyncGenerator<ExportedSet> {
    for (const session of this.#exportedSessions) {
      for (const set of await this.#store.sessions.sets(session.id)) {
        if (!setIds.has(set.id)) continue;
        // A set that is another's, who has not agreed, tells of that one.
        const isTheirs = set.player_id === null || this.#willing.has(set.player_id);
        yield {
          set: isTheirs ? set : { ...set, total_made: null, total_attempted: null, player_id: null },
          name: this.#names.of('set', set.id),
          player: isTheirs ? this.#names.of('player', set.player_id) : '',
          session: this.#names.of('session', session.id),
          shiftS: this.#shift.of(set.player_id, session.started_s),
          sessionStartedS: session.started_s,
        };
      }
    }
  }

  async *#markRows(): AsyncGenerator<ExportedMark> {
    const sensors = this.#names.key().sensor ?? {};
    for (const session of this.#exportedSessions) {
      for (const mark of await this.#store.marks.list(session.id)) {
        yield {
          mark,
          session: this.#names.of('session', session.id),
          sensor: mark.sensor_id !== null && mark.sensor_id in sensors ? this.#names.of('sensor', mark.sensor_id) : '',
          // With a shift for each player no instant is everybody's.
          shiftS: this.#shift.of(null, session.started_s),
          sessionStartedS: session.started_s,
        };
      }
    }
  }

  async #writeRecordings(): Promise<{ sampleCount: number; troubles: readonly string[] }> {
    const { recordings, folder, version, measures, onSession } = this.#options;
    if (!recordings) return { sampleCount: 0, troubles: [] };
    const sensors = await this.#table('sensors', streamColumns);
    const bids = recordings.bids
      ? new BidsFolder(path.join(folder, 'bids'), version, measureColumnsOf(measures))
      : null;
    const owners = new Map(
      (await this.#store.players.sensors()).map(({ id, owner_player_id }) => [id, owner_player_id]),
    );
    const sessions = this.#exportedSessions;
    const troubles: string[] = [];
    let sampleCount = 0;
    for (const [at, session] of sessions.entries()) {
      onSession?.(at, sessions.length);
      const name = this.#names.of('session', session.id);
      if (session.recording === null) {
        troubles.push(`${name}: no recording was kept, so there are no samples of it`);
        continue;
      }
      const all = await this.#store.shots.all({ sessionId: session.id });
      const meant = await this.#store.shots.all({ ...this.#options.filter, sessionId: session.id });
      const corrections = await this.#store.corrections.of(meant.map(({ id }) => id));
      const exported = meant
        .filter((shot) => this.#goesOut(shot, session))
        .map((shot) => this.#exported(shot, session, corrections));
      try {
        const work = new SessionExport({
          session,
          all,
          exported,
          owners,
          folder,
          recordings,
          sensors,
          bids,
          names: this.#names,
          shift: this.#shift,
          marks: await this.#store.marks.list(session.id),
        });
        const written = await work.write();
        sampleCount += written.sampleCount;
        this.#files.push(...written.files);
      } catch (error) {
        if (!(error instanceof SeamwiseError)) throw error;
        troubles.push(`${name}: ${error.message}`);
      }
    }
    await sensors.close();
    if (bids) {
      for (const { player, name } of this.#playerRows()) bids.takePlayer(name, player);
      bids.finish(bidsReadmeText(this.#shift.kind), citationText(version));
      this.#files.push('bids/');
    }
    return { sampleCount, troubles };
  }

  async #writeDictionary(shotColumns: readonly ExportColumn<ExportedShot>[]): Promise<void> {
    const { recordings } = this.#options;
    const lines: DictionaryLine[] = [
      ...dictionaryLines('shots', shotColumns),
      ...dictionaryLines('players', playerColumns),
      ...dictionaryLines('sets', setColumns),
      ...dictionaryLines('marks', markColumns),
      ...dictionaryLines('targets', targetColumns),
      ...dictionaryLines('blocks', blockColumns),
      ...dictionaryLines('load', loadColumns),
      ...dictionaryLines('study_sets', studySetColumns),
      ...(recordings ? dictionaryLines('sensors', streamColumns) : []),
      ...(recordings?.samples ? dictionaryLines('samples', sampleColumns) : []),
    ];
    await this.#writeTable('dictionary', dictionaryColumns, lines);
  }

  async #writeTable<Row>(
    name: string,
    columns: readonly ExportColumn<Row>[],
    rows: Iterable<Row> | AsyncIterable<Row>,
  ): Promise<void> {
    const table = await this.#table(name, columns);
    for await (const row of rows) await table.add(row);
    await table.close();
  }

  async #table<Row>(name: string, columns: readonly ExportColumn<Row>[]): Promise<TableWriter<Row>> {
    const table = await TableWriter.create(this.#options.folder, name, columns);
    this.#open.push(table);
    this.#files.push(`${name}.csv`, `${name}.parquet`);
    return table;
  }

  #put(name: string, text: string): void {
    writeFileSync(path.join(this.#options.folder, name), text, { mode: 0o600, flag: 'wx' });
    this.#files.push(name);
  }
}

type Corrections = Awaited<ReturnType<ClubStore['corrections']['of']>>;

async function* allShots(
  store: ClubStore,
  filter: ExportOptions['filter'],
): AsyncGenerator<{ readonly stored: StoredShot; readonly corrections: Corrections }> {
  let after: ShotFilter['after'];
  for (;;) {
    const page = await store.shots.list({ ...filter, limit: pageSize, ...(after && { after }) });
    const corrections = await store.corrections.of(page.map(({ id }) => id));
    for (const stored of page) yield { stored, corrections };
    const last = page.at(-1);
    if (!last || page.length < pageSize) return;
    after = { atS: last.at_s, id: last.id };
  }
}
