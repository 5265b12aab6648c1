import type { Insertable, Selectable, Transaction } from 'kysely';
import { SeamwiseError } from '../../foundation/errors.ts';
import { newId } from './new-id.ts';
import { type Actor, missing, type StoreContext } from './store-context.ts';
import type { EditTable, Tables } from './tables.ts';

/** Tables whose rows people change. */
export type EditedTable = 'player' | 'consent' | 'sensor' | 'session' | 'shot_set' | 'set_factor' | 'shot';

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

/** Makes changes in one transaction and remembers them. */
export class EditBatch {
  readonly groupId: string;
  readonly #trx: Transaction<Tables>;
  readonly #context: StoreContext;
  readonly #actor: Actor;
  readonly #action: string;

  constructor(trx: Transaction<Tables>, context: StoreContext, actor: Actor, action: string) {
    this.#trx = trx;
    this.#context = context;
    this.#actor = actor;
    this.#action = action;
    this.groupId = newId(context.nowS());
  }

  get trx(): Transaction<Tables> {
    return this.#trx;
  }

  /** Adds a row. */
  async insert<Table extends EditedTable>(table: Table, row: Insertable<Tables[Table]>): Promise<void> {
    await this.#trx
      .insertInto(table as 'player')
      .values(row as never)
      .execute();
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
    if (!before) throw missing(table.replace('shot_set', 'set'), id);
    const after = { ...before, ...change } as Row;
    if (JSON.stringify(after) !== JSON.stringify(before)) {
      await this.#write(table, id, after);
      await this.#remember(table, before, after);
    }
    return after as never;
  }

  /** Takes a row away. @throws SeamwiseError `store-missing` */
  async remove(table: EditedTable, id: string): Promise<void> {
    const before = await this.#row(table, id);
    if (!before) throw missing(table, id);
    await this.#delete(table, id);
    await this.#remember(table, before, null);
  }

  /** Puts a row back to what it was. @throws SeamwiseError `edit-superseded` when it was changed since. */
  async restore(edit: Selectable<EditTable>): Promise<void> {
    const table = edit.table_name as EditedTable;
    const before = parse(edit.before_row);
    const after = parse(edit.after_row);
    const now = await this.#row(table, edit.row_id);
    if (JSON.stringify(now ?? null) !== JSON.stringify(after)) {
      throw new SeamwiseError(
        'edit-superseded',
        `"${edit.action}" cannot be undone: the same ${table.replace('shot_set', 'set')} was changed again since. Undo the later change first.`,
      );
    }
    if (before === null) await this.#delete(table, edit.row_id);
    else if (after === null)
      await this.#trx
        .insertInto(table as 'player')
        .values(before as never)
        .execute();
    else await this.#write(table, edit.row_id, before);
    await this.#remember(table, after, before);
  }

  async #row(table: EditedTable, id: string): Promise<Row | undefined> {
    return (await this.#trx
      .selectFrom(table as 'player')
      .selectAll()
      .where('id', '=', id)
      .where('club_id', '=', this.#context.clubId)
      .executeTakeFirst()) as Row | undefined;
  }

  async #write(table: EditedTable, id: string, row: Row): Promise<void> {
    await this.#trx
      .updateTable(table as 'player')
      .set(row as never)
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

/** What people changed, and the way back. */
export class EditLog {
  readonly #context: StoreContext;

  constructor(context: StoreContext) {
    this.#context = context;
  }

  /** Makes the changes of `work` as one: all or none, to be undone together. @returns what `work` returns. */
  async make<Result>(actor: Actor, action: string, work: (batch: EditBatch) => Promise<Result>): Promise<Result> {
    return this.#context.db.transaction().execute((trx) => work(new EditBatch(trx, this.#context, actor, action)));
  }

  /** @returns the last changes, newest first. */
  async latest(count = 50): Promise<EditGroup[]> {
    const rows = await this.#context.db
      .selectFrom('edit')
      .where('club_id', '=', this.#context.clubId)
      .groupBy(['group_id', 'by_role', 'by_name', 'action'])
      .select(({ fn }) => [
        'group_id',
        'by_role',
        'by_name',
        'action',
        fn.min('at_s').as('at_s'),
        fn.count('id').as('row_count'),
        fn.max('undone_by').as('undone_by'),
      ])
      .orderBy('at_s', 'desc')
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
   * @throws SeamwiseError `store-missing`, or `edit-superseded` when it was undone already or its rows were changed since.
   */
  async undo(actor: Actor, groupId: string): Promise<void> {
    const { db, clubId } = this.#context;
    const edits = await db
      .selectFrom('edit')
      .selectAll()
      .where('group_id', '=', groupId)
      .where('club_id', '=', clubId)
      .orderBy('id', 'desc')
      .execute();
    const first = edits[0];
    if (!first) throw missing('change', groupId);
    if (first.undone_by !== null) {
      throw new SeamwiseError('edit-superseded', `"${first.action}" was undone already`);
    }
    await this.make(actor, `undo: ${first.action}`, async (batch) => {
      for (const edit of edits) await batch.restore(edit);
      await batch.trx.updateTable('edit').set({ undone_by: batch.groupId }).where('group_id', '=', groupId).execute();
    });
  }
}
