import type { Kysely, Migration } from 'kysely';

/** Club, players, sensors, sessions, sets, shots with their results, and the log of edits. */
export const firstTables: Migration = {
  async up(db: Kysely<unknown>): Promise<void> {
    const { schema } = db;
    await schema
      .createTable('club')
      .addColumn('id', 'text', (c) => c.primaryKey())
      .addColumn('name', 'text', (c) => c.notNull())
      .addColumn('created_s', 'double precision', (c) => c.notNull())
      .execute();
    await schema
      .createTable('player')
      .addColumn('id', 'text', (c) => c.primaryKey())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('pseudonym', 'text', (c) => c.notNull())
      .addColumn('hand', 'text', (c) => c.notNull())
      .addColumn('age_band', 'text', (c) => c.notNull())
      .addColumn('ball_size', 'integer', (c) => c.notNull())
      .addColumn('hoop_height_m', 'double precision', (c) => c.notNull())
      .addColumn('units', 'text', (c) => c.notNull())
      .addColumn('notes', 'text', (c) => c.notNull())
      .addColumn('created_s', 'double precision', (c) => c.notNull())
      .addUniqueConstraint('player_pseudonym', ['club_id', 'pseudonym'])
      .execute();
    await schema
      .createTable('consent')
      .addColumn('id', 'text', (c) => c.primaryKey())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('player_id', 'text', (c) => c.notNull().references('player.id'))
      .addColumn('scope', 'text', (c) => c.notNull())
      .addColumn('granted_s', 'double precision', (c) => c.notNull())
      .addColumn('given_by_role', 'text', (c) => c.notNull())
      .addColumn('withdrawn_s', 'double precision')
      .execute();
    await schema
      .createTable('sensor')
      .addColumn('id', 'text', (c) => c.primaryKey())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('label', 'text', (c) => c.notNull())
      .addColumn('placement', 'text', (c) => c.notNull())
      .addColumn('owner_player_id', 'text', (c) => c.references('player.id'))
      .addColumn('description', 'text', (c) => c.notNull())
      .addColumn('first_seen_s', 'double precision', (c) => c.notNull())
      .addColumn('last_seen_s', 'double precision', (c) => c.notNull())
      .execute();
    await schema
      .createTable('session')
      .addColumn('id', 'text', (c) => c.primaryKey())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('name', 'text', (c) => c.notNull())
      .addColumn('started_s', 'double precision', (c) => c.notNull())
      .addColumn('ended_s', 'double precision')
      .addColumn('time_zone', 'text', (c) => c.notNull())
      .addColumn('simulated', 'integer', (c) => c.notNull())
      .addColumn('starred', 'integer', (c) => c.notNull())
      .addColumn('recording', 'text')
      .addColumn('notes', 'text', (c) => c.notNull())
      .addColumn('settings', 'text', (c) => c.notNull())
      .execute();
    await schema
      .createTable('shot_set')
      .addColumn('id', 'text', (c) => c.primaryKey())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('session_id', 'text', (c) => c.notNull().references('session.id'))
      .addColumn('player_id', 'text', (c) => c.references('player.id'))
      .addColumn('kind', 'text', (c) => c.notNull())
      .addColumn('name', 'text', (c) => c.notNull())
      .addColumn('spot', 'text', (c) => c.notNull())
      .addColumn('distance_m', 'double precision')
      .addColumn('started_s', 'double precision', (c) => c.notNull())
      .addColumn('ended_s', 'double precision')
      .addColumn('total_made', 'integer')
      .addColumn('total_attempted', 'integer')
      .addColumn('notes', 'text', (c) => c.notNull())
      .execute();
    await schema
      .createTable('set_factor')
      .addColumn('id', 'text', (c) => c.primaryKey())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('set_id', 'text', (c) => c.notNull().references('shot_set.id'))
      .addColumn('factor', 'text', (c) => c.notNull())
      .addColumn('level', 'text', (c) => c.notNull())
      .addUniqueConstraint('set_factor_once', ['set_id', 'factor'])
      .execute();
    await schema
      .createTable('shot')
      .addColumn('id', 'text', (c) => c.primaryKey())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('session_id', 'text', (c) => c.notNull().references('session.id'))
      .addColumn('set_id', 'text', (c) => c.references('shot_set.id'))
      .addColumn('player_id', 'text', (c) => c.references('player.id'))
      .addColumn('sensor_id', 'text', (c) => c.references('sensor.id'))
      .addColumn('stream_index', 'integer', (c) => c.notNull())
      .addColumn('shot_index', 'integer', (c) => c.notNull())
      .addColumn('at_s', 'double precision', (c) => c.notNull())
      .addColumn('outcome', 'text', (c) => c.notNull())
      .addColumn('miss_side', 'text')
      .addColumn('notes', 'text', (c) => c.notNull())
      .execute();
    await schema
      .createTable('shot_result')
      .addColumn('id', 'text', (c) => c.primaryKey())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('shot_id', 'text', (c) => c.notNull().references('shot.id'))
      .addColumn('is_current', 'integer', (c) => c.notNull())
      .addColumn('analysis_version', 'text', (c) => c.notNull())
      .addColumn('parameters', 'text', (c) => c.notNull())
      .addColumn('created_s', 'double precision', (c) => c.notNull())
      .addColumn('start_kind', 'text', (c) => c.notNull())
      .addColumn('contact_kind', 'text', (c) => c.notNull())
      .addColumn('document', 'text', (c) => c.notNull())
      .execute();
    await schema
      .createTable('edit')
      .addColumn('id', 'text', (c) => c.primaryKey())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('at_s', 'double precision', (c) => c.notNull())
      .addColumn('by_role', 'text', (c) => c.notNull())
      .addColumn('by_name', 'text', (c) => c.notNull())
      .addColumn('action', 'text', (c) => c.notNull())
      .addColumn('table_name', 'text', (c) => c.notNull())
      .addColumn('row_id', 'text', (c) => c.notNull())
      .addColumn('before_row', 'text')
      .addColumn('after_row', 'text')
      .addColumn('group_id', 'text', (c) => c.notNull())
      .addColumn('undone_by', 'text')
      .execute();
    const indices: readonly (readonly [string, string, readonly string[]])[] = [
      ['session_by_time', 'session', ['club_id', 'started_s']],
      ['set_by_session', 'shot_set', ['session_id', 'started_s']],
      ['set_by_player', 'shot_set', ['player_id', 'started_s']],
      ['factor_by_level', 'set_factor', ['club_id', 'factor', 'level']],
      ['shot_by_session', 'shot', ['session_id', 'at_s']],
      ['shot_by_player', 'shot', ['player_id', 'at_s']],
      ['shot_by_set', 'shot', ['set_id', 'at_s']],
      ['result_by_shot', 'shot_result', ['shot_id', 'is_current']],
      ['consent_by_player', 'consent', ['player_id', 'scope']],
      ['edit_by_row', 'edit', ['row_id', 'at_s']],
      ['edit_by_time', 'edit', ['club_id', 'at_s']],
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
