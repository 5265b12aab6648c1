import type { HandedEntity } from '../database/hub-tables.ts';

/** What may stand in a column; a question mark: or null. */
export type ColumnKind = 'text' | 'text?' | 'number' | 'number?';

/** A row as it travels: without its club, which is the receiver's own. */
export type HandedRow = Readonly<Record<string, string | number | null>>;

/** A thing as it travels: as it stands now, whole. */
export interface HandedDocument {
  readonly entity: HandedEntity;
  readonly id: string;
  /** Number of its last change where it comes from. */
  readonly seq: number;
  /** Null for one that is gone, or that is not to be handed over. */
  readonly row: HandedRow | null;
  /** Rows that belong to it, by their table. */
  readonly parts: Readonly<Partial<Record<HandedTable, readonly HandedRow[]>>>;
  /** With a player who is not to be handed over any longer: since when. */
  readonly withheldS?: number;
}

/** Columns of the tables that are handed over, without `club_id`. */
export const handedColumns = {
  player: {
    ...{ id: 'text', pseudonym: 'text', hand: 'text', age_band: 'text', ball_size: 'number', hoop_height_m: 'number' },
    ...{ units: 'text', notes: 'text', created_s: 'number' },
  },
  consent: {
    ...{ id: 'text', player_id: 'text', scope: 'text', granted_s: 'number', given_by_role: 'text' },
    ...{ withdrawn_s: 'number?' },
  },
  sensor: {
    ...{ id: 'text', label: 'text', placement: 'text', owner_player_id: 'text?', description: 'text' },
    ...{ first_seen_s: 'number', last_seen_s: 'number' },
  },
  session: {
    ...{ id: 'text', name: 'text', started_s: 'number', ended_s: 'number?', time_zone: 'text', simulated: 'number' },
    ...{ starred: 'number', recording: 'text?', notes: 'text', settings: 'text', analysed_version: 'text?' },
    ...{ recording_deleted_s: 'number?' },
  },
  shot_set: {
    ...{ id: 'text', session_id: 'text', player_id: 'text?', kind: 'text', name: 'text', spot: 'text' },
    ...{ distance_m: 'number?', started_s: 'number', ended_s: 'number?', total_made: 'number?' },
    ...{ total_attempted: 'number?', notes: 'text' },
  },
  set_factor: { id: 'text', set_id: 'text', factor: 'text', level: 'text' },
  shot: {
    ...{ id: 'text', session_id: 'text', set_id: 'text?', player_id: 'text?', sensor_id: 'text?' },
    ...{ stream_index: 'number', shot_index: 'number', at_s: 'number', outcome: 'text', miss_side: 'text?' },
    ...{ notes: 'text', told_seq: 'number?', told_head: 'text?', told_id: 'text?' },
  },
  shot_result: {
    ...{ id: 'text', shot_id: 'text', is_current: 'number', analysis_version: 'text', parameters: 'text' },
    ...{ created_s: 'number', start_kind: 'text', contact_kind: 'text', document: 'text' },
  },
  time_correction: {
    ...{ id: 'text', shot_id: 'text', phase: 'text', sensor_id: 'text?', stream_index: 'number', time_s: 'number' },
    ...{ resolution_s: 'number', made_s: 'number', by_role: 'text', by_name: 'text' },
  },
  mark: {
    ...{ id: 'text', session_id: 'text', at_s: 'number', uncertainty_s: 'number', clock: 'text', origin: 'text' },
    ...{ sensor_id: 'text?', stream_index: 'number?', sensor_time_s: 'number?', name: 'text' },
  },
  edit: {
    ...{ id: 'text', at_s: 'number', by_role: 'text', by_name: 'text', action: 'text', table_name: 'text' },
    ...{ row_id: 'text', before_row: 'text?', after_row: 'text?', group_id: 'text', undone_by: 'text?' },
  },
  player_notice: { id: 'text', kind: 'text', at_s: 'number', into_player_id: 'text?' },
  player_target: {
    ...{ id: 'text', player_id: 'text', measure: 'text', target: 'number?', low: 'number?', high: 'number?' },
  },
  best_set: { id: 'text', player_id: 'text', set_id: 'text' },
  own_drill: { id: 'text', document: 'text', made_s: 'number', retired_s: 'number?' },
  prescription: {
    ...{ id: 'text', player_id: 'text', fault: 'text', drill: 'text', measure: 'text', fault_side: 'number' },
    ...{ smallest_change: 'number', made_s: 'number', named_s: 'number', retention_due_s: 'number?' },
    ...{ ended_s: 'number?', notes: 'text' },
  },
  proof_block: { id: 'text', prescription_id: 'text', set_id: 'text', role: 'text' },
  load_entry: { id: 'text', player_id: 'text', date: 'text', shots: 'number', minutes: 'number' },
  study: {
    ...{ id: 'text', name: 'text', factor: 'text', design: 'text', seed: 'text', blinded: 'number' },
    ...{ made_s: 'number', closed_s: 'number?' },
  },
  study_set: { id: 'text', study_id: 'text', set_id: 'text', row_index: 'number', place: 'number' },
  rotation: {
    ...{ id: 'text', session_id: 'text', sensor_id: 'text?', shots_each: 'number', turn: 'number' },
    ...{ shots_in_turn: 'number', started_s: 'number', ended_s: 'number?' },
  },
  rotation_player: { id: 'text', rotation_id: 'text', place: 'number', player_id: 'text' },
  sensor_calibration: { id: 'text', sensor_id: 'text', made_s: 'number', document: 'text' },
} as const satisfies Readonly<Record<string, Readonly<Record<string, ColumnKind>>>>;

export type HandedTable = keyof typeof handedColumns;

/** Tables whose rows belong to a thing, with the column that says to which. */
export const handedParts: Readonly<Partial<Record<HandedEntity, Readonly<Partial<Record<HandedTable, string>>>>>> = {
  // What was changed of a player goes along: a court that knows the player not yet has use for it.
  player: { consent: 'player_id', edit: 'row_id' },
  shot_set: { set_factor: 'set_id' },
  shot: { shot_result: 'shot_id', time_correction: 'shot_id' },
};

/** What has to be there before a row can be, by its columns. */
export const handedNeeds: Readonly<Partial<Record<HandedTable, Readonly<Record<string, HandedEntity>>>>> = {
  sensor: { owner_player_id: 'player' },
  shot_set: { session_id: 'session', player_id: 'player' },
  shot: { session_id: 'session', set_id: 'shot_set', player_id: 'player', sensor_id: 'sensor' },
  mark: { session_id: 'session' },
  set_factor: { set_id: 'shot_set' },
  time_correction: { shot_id: 'shot' },
  consent: { player_id: 'player' },
  player_target: { player_id: 'player' },
  best_set: { player_id: 'player', set_id: 'shot_set' },
  prescription: { player_id: 'player' },
  proof_block: { prescription_id: 'prescription', set_id: 'shot_set' },
  load_entry: { player_id: 'player' },
  study_set: { study_id: 'study', set_id: 'shot_set' },
  rotation: { session_id: 'session', sensor_id: 'sensor' },
  rotation_player: { rotation_id: 'rotation', player_id: 'player' },
};

/** @returns the row with the columns that are handed over, and no others. */
export function handedRow(table: HandedTable, row: Readonly<Record<string, unknown>>): HandedRow {
  return Object.fromEntries(
    Object.entries(handedColumns[table]).map(([name, kind]) => [name, handedValue(kind, row[name])]),
  );
}

/** PostgreSQL gives its large whole numbers as text. */
function handedValue(kind: ColumnKind, value: unknown): string | number | null {
  if (value === null || value === undefined) return null;
  return kind.startsWith('number') ? Number(value) : String(value);
}

/** @returns whether the rows say the same. */
export function isSameRow(one: HandedRow, other: HandedRow): boolean {
  return Object.keys(one).every((name) => one[name] === other[name]);
}
