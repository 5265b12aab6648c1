import type { Kysely, Migration } from 'kysely';

/** Targets, own drills, prescriptions with their blocks, load told by hand, and studies. */
export const coachingTables: Migration = {
  async up(db: Kysely<unknown>): Promise<void> {
    const { schema } = db;
    const table = (name: string) =>
      schema
        .createTable(name)
        .addColumn('id', 'text', (c) => c.primaryKey())
        .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'));
    await table('player_target')
      .addColumn('player_id', 'text', (c) => c.notNull().references('player.id'))
      .addColumn('measure', 'text', (c) => c.notNull())
      .addColumn('target', 'double precision')
      .addColumn('low', 'double precision')
      .addColumn('high', 'double precision')
      .addUniqueConstraint('player_target_once', ['player_id', 'measure'])
      .execute();
    await table('best_set')
      .addColumn('player_id', 'text', (c) => c.notNull().references('player.id'))
      .addColumn('set_id', 'text', (c) => c.notNull().references('shot_set.id'))
      .addUniqueConstraint('best_set_once', ['player_id', 'set_id'])
      .execute();
    await table('own_drill')
      .addColumn('document', 'text', (c) => c.notNull())
      .addColumn('made_s', 'double precision', (c) => c.notNull())
      .addColumn('retired_s', 'double precision')
      .execute();
    await table('prescription')
      .addColumn('player_id', 'text', (c) => c.notNull().references('player.id'))
      .addColumn('fault', 'text', (c) => c.notNull())
      .addColumn('drill', 'text', (c) => c.notNull())
      .addColumn('measure', 'text', (c) => c.notNull())
      .addColumn('fault_side', 'integer', (c) => c.notNull())
      .addColumn('smallest_change', 'double precision', (c) => c.notNull())
      .addColumn('made_s', 'double precision', (c) => c.notNull())
      .addColumn('named_s', 'double precision', (c) => c.notNull())
      .addColumn('retention_due_s', 'double precision')
      .addColumn('ended_s', 'double precision')
      .addColumn('notes', 'text', (c) => c.notNull())
      .execute();
    await table('proof_block')
      .addColumn('prescription_id', 'text', (c) => c.notNull().references('prescription.id'))
      .addColumn('set_id', 'text', (c) => c.notNull().references('shot_set.id'))
      .addColumn('role', 'text', (c) => c.notNull())
      .addUniqueConstraint('proof_block_once', ['set_id'])
      .execute();
    await table('load_entry')
      .addColumn('player_id', 'text', (c) => c.notNull().references('player.id'))
      .addColumn('date', 'text', (c) => c.notNull())
      .addColumn('shots', 'integer', (c) => c.notNull())
      .addColumn('minutes', 'double precision', (c) => c.notNull())
      .addUniqueConstraint('load_entry_once', ['player_id', 'date'])
      .execute();
    await table('study')
      .addColumn('name', 'text', (c) => c.notNull())
      .addColumn('factor', 'text', (c) => c.notNull())
      .addColumn('design', 'text', (c) => c.notNull())
      .addColumn('seed', 'text', (c) => c.notNull())
      .addColumn('blinded', 'integer', (c) => c.notNull())
      .addColumn('made_s', 'double precision', (c) => c.notNull())
      .addColumn('closed_s', 'double precision')
      .execute();
    await table('study_set')
      .addColumn('study_id', 'text', (c) => c.notNull().references('study.id'))
      .addColumn('set_id', 'text', (c) => c.notNull().references('shot_set.id'))
      .addColumn('row_index', 'integer', (c) => c.notNull())
      .addColumn('place', 'integer', (c) => c.notNull())
      .addUniqueConstraint('study_set_once', ['set_id'])
      .execute();
    const indices: readonly (readonly [string, string, readonly string[]])[] = [
      ['best_set_by_set', 'best_set', ['set_id']],
      ['prescription_by_player', 'prescription', ['player_id', 'made_s']],
      ['proof_block_by_prescription', 'proof_block', ['prescription_id']],
      ['study_set_by_study', 'study_set', ['study_id', 'row_index', 'place']],
      ['own_drill_by_club', 'own_drill', ['club_id', 'made_s']],
      ['study_by_club', 'study', ['club_id', 'made_s']],
    ];
    for (const [name, of, columns] of indices) {
      await schema
        .createIndex(name)
        .on(of)
        .columns([...columns])
        .execute();
    }
  },
};
