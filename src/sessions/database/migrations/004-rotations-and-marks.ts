import type { Kysely, Migration } from 'kysely';

/** Rounds of players, synchronisation marks, choices of the club, and shots by the name under which clients were told of them. */
export const rotationsAndMarks: Migration = {
  async up(db: Kysely<unknown>): Promise<void> {
    const { schema } = db;
    await schema
      .createTable('rotation')
      .addColumn('id', 'text', (c) => c.primaryKey())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('session_id', 'text', (c) => c.notNull().references('session.id'))
      .addColumn('sensor_id', 'text', (c) => c.references('sensor.id'))
      .addColumn('shots_each', 'integer', (c) => c.notNull())
      .addColumn('turn', 'integer', (c) => c.notNull())
      .addColumn('shots_in_turn', 'integer', (c) => c.notNull())
      .addColumn('started_s', 'double precision', (c) => c.notNull())
      .addColumn('ended_s', 'double precision')
      .execute();
    await schema
      .createTable('rotation_player')
      .addColumn('id', 'text', (c) => c.primaryKey())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('rotation_id', 'text', (c) => c.notNull().references('rotation.id'))
      .addColumn('place', 'integer', (c) => c.notNull())
      .addColumn('player_id', 'text', (c) => c.notNull().references('player.id'))
      .execute();
    await schema
      .createTable('mark')
      .addColumn('id', 'text', (c) => c.primaryKey())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('session_id', 'text', (c) => c.notNull().references('session.id'))
      .addColumn('at_s', 'double precision', (c) => c.notNull())
      .addColumn('uncertainty_s', 'double precision', (c) => c.notNull())
      .addColumn('clock', 'text', (c) => c.notNull())
      .addColumn('origin', 'text', (c) => c.notNull())
      .addColumn('sensor_id', 'text')
      .addColumn('stream_index', 'integer')
      .addColumn('sensor_time_s', 'double precision')
      .addColumn('name', 'text', (c) => c.notNull())
      .execute();
    await schema
      .createTable('club_choice')
      .addColumn('id', 'text', (c) => c.primaryKey())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('name', 'text', (c) => c.notNull())
      .addColumn('value', 'text', (c) => c.notNull())
      .addUniqueConstraint('club_choice_once', ['club_id', 'name'])
      .execute();
    await schema.alterTable('session').addColumn('recording_deleted_s', 'double precision').execute();
    await schema.alterTable('shot').addColumn('told_id', 'text').execute();
    await nameToldShots(db as Kysely<ToldShots>);

    for (const name of ['shot_by_session', 'shot_by_player', 'shot_by_set']) await schema.dropIndex(name).execute();
    const indices: readonly (readonly [string, string, readonly string[]])[] = [
      // With the id behind the time, pages of any size follow each other without sorting.
      ['shot_by_session', 'shot', ['session_id', 'at_s', 'id']],
      ['shot_by_player', 'shot', ['player_id', 'at_s', 'id']],
      ['shot_by_set', 'shot', ['set_id', 'at_s', 'id']],
      ['shot_by_time', 'shot', ['club_id', 'at_s', 'id']],
      ['shot_by_told_id', 'shot', ['club_id', 'told_id']],
      ['edit_by_group', 'edit', ['club_id', 'group_id']],
      ['mark_by_session', 'mark', ['session_id', 'at_s']],
      ['rotation_by_session', 'rotation', ['session_id', 'started_s']],
      ['rotation_player_by_rotation', 'rotation_player', ['rotation_id', 'place']],
      ['rotation_player_by_player', 'rotation_player', ['player_id']],
      ['session_open', 'session', ['club_id', 'ended_s']],
    ];
    for (const [name, table, columns] of indices) {
      await schema
        .createIndex(name)
        .on(table)
        .columns([...columns])
        .execute();
    }
  },
};

interface ToldShots {
  shot: { id: string; told_head: string | null; told_id: string | null };
}

/** The name stood inside the head of what was told. */
async function nameToldShots(db: Kysely<ToldShots>): Promise<void> {
  const pageSize = 1000;
  for (let after = ''; ; ) {
    const page = await db
      .selectFrom('shot')
      .select(['id', 'told_head'])
      .where('id', '>', after)
      .where('told_head', 'is not', null)
      .orderBy('id')
      .limit(pageSize)
      .execute();
    for (const { id, told_head } of page) {
      const { shotId } = JSON.parse(told_head ?? '{}') as { shotId?: unknown };
      if (typeof shotId !== 'string') continue;
      await db.updateTable('shot').set({ told_id: shotId }).where('id', '=', id).execute();
    }
    const last = page.at(-1);
    if (!last || page.length < pageSize) return;
    after = last.id;
  }
}
