import type { Insertable, Selectable, Transaction } from 'kysely';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { CoachingTables } from './coaching-tables.ts';
import { isConstraintError } from './constraint-error.ts';
import { newId } from './new-id.ts';
import { type Actor, type Connection, missing, type StoreContext } from './store-context.ts';
import type { EditTable, Tables } from './tables.ts';

/** Tables whose rows people change. */
export type EditedTable =
  | 'player'
  | 'consent'
  | 'sensor'
  | 'session'
  | 'shot_set'
  | 'set_factor'
  | 'shot'
  | 'rotation'
  | 'rotation_player'
  | 'mark'
  | 'time_correction'
  | 'club_choice'
  | keyof CoachingTables;

/** Columns that the program itself writes as time goes on: their change is nobody's, and no later change to be undone first. */
const countedColumns: Partial<Record<EditedTable, readonly string[]>> = {
  rotation: ['turn', 'shots_in_turn'],
  sensor: ['placement', 'description', 'last_seen_s'],
};

/** Rows of any edited table, as far as the log needs to know them. */
type Row = Readonly<Record<string, unknown>> & { readonly id: string; readonly club_id: string };

/** One change of one person, of one row or many. */
export interface EditGroup {
  readonly groupId: string;
  readonly atS: number;
  readonly byRole: string;
  readonly byName: string;
  readonly action: string;
  readonly rowCount: number;
  readonly isUndone: boolean;
}

/** One change of one row. */
export interface RowChange extends Omit<EditGroup, 'rowCount' | 'isUndone'> {
  readonly before: Readonly<Record<string, unknown>> | null;
  readonly after: Readonly<Record<string, unknown>> | null;
}

/** What a change touched, told when it is on the disk. */
export interface MadeChange {
  readonly rows: readonly {
    readonly table: EditedTable;
    readonly id: string;
    /** The row as it is now; null where it is gone. */
    readonly after: Readonly<Record<string, unknown>> | null;
    readonly before: Readonly<Record<string, unknown>> | null;
  }[];
}

/** Makes changes in one transaction and remembers them. */
export class EditBatch {
  readonly groupId: string;
  readonly #trx: Transaction<Tables>;
  readonly #context: StoreContext;
  readonly #actor: Actor;
  readonly #action: string;
  readonly #touched: MadeChange['rows'][number][] = [];

  constructor(trx: Transaction<Tables>, context: StoreContext, actor: Actor, action: string) {
    this.#trx = trx;
    this.#context = context;
    this.#actor = actor;
    this.#action = action;
    this.groupId = newId(context.nowS());
  }

  /** Rows that were changed so far. */
  get touched(): MadeChange['rows'] {
    return this.#touched;
  }

  get trx(): Transaction<Tables> {
    return this.#trx;
  }

  /** Adds a row. */
  async insert<Table extends EditedTable>(table: Table, row: Insertable<Tables[Table]>): Promise<void> {
    await this.#insert(table, row);
    // As the database gives it back, so that a later look at the row finds the same.
    await this.#remember(table, null, (await this.#row(table, (row as unknown as Row).id)) ?? null);
  }

  /** Changes columns of a row; nothing is remembered when nothing changes. @throws SeamwiseError `store-missing` */
  async change<Table extends EditedTable>(
    table: Table,
    id: string,
    change: Partial<Insertable<Tables[Table]>>,
  ): Promise<Selectable<Tables[Table]>> {
    const before = await this.#row(table, id);
    if (!before) throw missing(inWords(table), id);
    const after = { ...before, ...change } as Row;
    const columns = Object.keys(after).filter((name) => after[name] !== before[name]);
    if (columns.length > 0) {
      await this.#write(table, id, pick(after, columns));
      await this.#remember(table, before, after);
    }
    return after as never;
  }

  /** Takes a row away. @throws SeamwiseError `store-missing` */
  async remove(table: EditedTable, id: string): Promise<void> {
    const before = await this.#row(table, id);
    if (!before) throw missing(inWords(table), id);
    await this.#delete(table, id);
    await this.#remember(table, before, null);
  }

  /**
   * Takes one remembered change of a row back; what others changed in other columns since stays.
   *
   * @throws SeamwiseError `edit-superseded` when the same was changed since, `edit-final` for what is never undone.
   */
  async restore(edit: Selectable<EditTable>): Promise<void> {
    const table = edit.table_name as EditedTable;
    const before = parse(edit.before_row);
    const after = parse(edit.after_row);
    requireUndoable(edit.action, table, before, after);
    const now = (await this.#row(table, edit.row_id)) ?? null;
    // Rows of an older program lack the columns that came since.
    const columns = Object.keys(after ?? {}).filter((name) =>
      before === null ? !countedColumns[table]?.includes(name) : before[name] !== after?.[name],
    );
    const isAsLeft = (now === null) === (after === null) && columns.every((name) => now?.[name] === after?.[name]);
    if (!isAsLeft) {
      throw new SeamwiseError(
        'edit-superseded',
        `"${edit.action}" cannot be undone: the same ${inWords(table)} was changed again since. Undo the later change first.`,
      );
    }
    if (before === null) await this.#delete(table, edit.row_id);
    else if (now === null) await this.#insert(table, before);
    else await this.#write(table, edit.row_id, pick(before, columns));
    await this.#remember(table, now, (await this.#row(table, edit.row_id)) ?? null);
  }

  async #row(table: EditedTable, id: string): Promise<Row | undefined> {
    return (await this.#trx
      .selectFrom(table as 'player')
      .selectAll()
      .where('id', '=', id)
      .where('club_id', '=', this.#context.clubId)
      .executeTakeFirst()) as Row | undefined;
  }

  async #insert(table: EditedTable, row: object): Promise<void> {
    await this.#trx
      .insertInto(table as 'player')
      .values(row as never)
      .execute();
  }

  async #write(table: EditedTable, id: string, columns: object): Promise<void> {
    await this.#trx
      .updateTable(table as 'player')
      .set(columns as never)
      .where('id', '=', id)
      .execute();
  }

  async #delete(table: EditedTable, id: string): Promise<void> {
    await this.#trx
      .deleteFrom(table as 'player')
      .where('id', '=', id)
      .execute();
  }

  async #remember(table: EditedTable, before: Row | null, after: Row | null): Promise<void> {
    const { nowS, clubId } = this.#context;
    this.#touched.push({ table, id: (after ?? before)?.id ?? '', before, after });
    await this.#trx
      .insertInto('edit')
      .values({
        id: newId(nowS()),
        club_id: clubId,
        at_s: nowS(),
        by_role: this.#actor.role,
        by_name: this.#actor.name,
        action: this.#action,
        table_name: table,
        row_id: (after ?? before)?.id ?? '',
        before_row: before && JSON.stringify(before),
        after_row: after && JSON.stringify(after),
        group_id: this.groupId,
        undone_by: null,
      })
      .execute();
  }
}

function parse(row: string | null): Row | null {
  return row === null ? null : (JSON.parse(row) as Row);
}

function pick(row: Row, columns: readonly string[]): Readonly<Record<string, unknown>> {
  return Object.fromEntries(columns.map((name) => [name, row[name]]));
}

function inWords(table: EditedTable): string {
  return table === 'shot_set' ? 'set' : table.replaceAll('_', ' ');
}

/** What somebody agreed to is never brought about by an undo, nor is a session with its recording made to disappear. */
function requireUndoable(action: string, table: EditedTable, before: Row | null, after: Row | null): void {
  const isOpen = (row: Row | null) => row !== null && row.withdrawn_s === null;
  if (table === 'consent' && isOpen(before) && !isOpen(after)) {
    throw new SeamwiseError('edit-final', `"${action}" is not undone: note a new consent, with who gave it`);
  }
  if (table === 'session' && before === null) {
    throw new SeamwiseError('edit-final', `"${action}" is not undone: a session that was begun stays in the list`);
  }
}

/** What people changed, and the way back. */
export class EditLog {
  readonly #context: StoreContext;
  readonly #listeners = new Set<(made: MadeChange) => void>();

  constructor(context: StoreContext) {
    this.#context = context;
  }

  /** Has every change told once it is on the disk; a listener must not throw. @returns ends it. */
  listen(listener: (made: MadeChange) => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /** Tells the listeners of a change that was made elsewhere and is on the disk. */
  announce(made: MadeChange): void {
    for (const listener of this.#listeners) listener(made);
  }

  /** Makes the changes of `work` as one: all or none, to be undone together. @returns what `work` returns. */
  async make<Result>(actor: Actor, action: string, work: (batch: EditBatch) => Promise<Result>): Promise<Result> {
    let rows: MadeChange['rows'] = [];
    const result = await this.#context.write(async (trx) => {
      const batch = new EditBatch(trx, this.#context, actor, action);
      const worked = await work(batch);
      rows = batch.touched;
      return worked;
    });
    if (rows.length > 0) this.announce({ rows });
    return result;
  }

  /** @returns the last changes, newest first. */
  async latest(count = 50): Promise<EditGroup[]> {
    const rows = await this.#context.db
      .selectFrom('edit')
      .where('club_id', '=', this.#context.clubId)
      .groupBy('group_id')
      .select(({ fn }) => [
        'group_id',
        // The same in every row of a group.
        fn.max('by_role').as('by_role'),
        fn.max('by_name').as('by_name'),
        fn.max('action').as('action'),
        fn.min('at_s').as('at_s'),
        fn.count('id').as('row_count'),
        fn.max('undone_by').as('undone_by'),
      ])
      // Ids rise with time, and this order needs no look at older changes.
      .orderBy('group_id', 'desc')
      .limit(count)
      .execute();
    return rows.map((row) => ({
      groupId: row.group_id,
      atS: Number(row.at_s),
      byRole: row.by_role,
      byName: row.by_name,
      action: row.action,
      rowCount: Number(row.row_count),
      isUndone: row.undone_by !== null,
    }));
  }

  /**
   * Undoes one change, as a change of its own that can be undone again.
   *
   * @throws SeamwiseError `store-missing`; `edit-superseded` when it was undone already, its rows were changed since, or
   * something that came later hangs on it; `edit-final` for what is never undone.
   */
  async undo(actor: Actor, groupId: string): Promise<void> {
    const { db, clubId } = this.#context;
    const editsOf = (of: Connection) =>
      of.selectFrom('edit').selectAll().where('group_id', '=', groupId).where('club_id', '=', clubId);
    const first = await editsOf(db).executeTakeFirst();
    if (!first) throw missing('change', groupId);
    try {
      await this.make(actor, `undo: ${first.action}`, async (batch) => {
        const edits = await editsOf(batch.trx).orderBy('id', 'desc').execute();
        if (edits.length === 0) throw missing('change', groupId);
        if (edits[0]?.undone_by !== null) {
          throw new SeamwiseError('edit-superseded', `"${first.action}" was undone already`);
        }
        for (const edit of edits) await batch.restore(edit);
        await batch.trx
          .updateTable('edit')
          .set({ undone_by: batch.groupId })
          .where('group_id', '=', groupId)
          .where('club_id', '=', clubId)
          .execute();
      });
    } catch (error) {
      if (!isConstraintError(error)) throw error;
      throw new SeamwiseError(
        'edit-superseded',
        `"${first.action}" cannot be undone: something that came later hangs on it or has the same name. Undo that first.`,
      );
    }
  }

  /** @returns every change of one row, oldest first. */
  async historyOf(rowId: string): Promise<RowChange[]> {
    const { db, clubId } = this.#context;
    const rows = await db
      .selectFrom('edit')
      .selectAll()
      .where('row_id', '=', rowId)
      .where('club_id', '=', clubId)
      .orderBy('at_s')
      .orderBy('id')
      .execute();
    return rows.map((row) => ({
      groupId: row.group_id,
      atS: row.at_s,
      byRole: row.by_role,
      byName: row.by_name,
      action: row.action,
      before: parse(row.before_row),
      after: parse(row.after_row),
    }));
  }
}
