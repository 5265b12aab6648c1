import type { CoachingTables } from './coaching-tables.ts';
import type { HubTables } from './hub-tables.ts';
import type { JobTables } from './job-tables.ts';

/**
 * Tables of the database as kysely knows them. Every row belongs to a club. Instants are seconds since the Unix epoch, UTC;
 * JSON stands as text; yes and no as 1 and 0. Only column types that SQLite and PostgreSQL share.
 */

export const hands = ['right', 'left'] as const;
export const ageBands = ['under-10', '10-12', '13-15', '16-18', 'adult'] as const;
export const consentScopes = ['record', 'export', 'display', 'upload'] as const;
export const setKinds = ['drill', 'test', 'free'] as const;
export const outcomes = ['make', 'miss', 'unknown'] as const;
export const missSides = ['short', 'long', 'left', 'right'] as const;
export const markOrigins = ['key', 'api', 'taps', 'hand'] as const;
export const shotPhases = ['pickup', 'lift', 'release', 'contact'] as const;

export interface ClubTable {
  id: string;
  name: string;
  created_s: number;
}

export interface PlayerTable {
  id: string;
  club_id: string;
  pseudonym: string;
  hand: (typeof hands)[number];
  age_band: (typeof ageBands)[number];
  ball_size: number;
  hoop_height_m: number;
  units: 'metric' | 'us';
  notes: string;
  created_s: number;
}

export interface ConsentTable {
  id: string;
  club_id: string;
  player_id: string;
  scope: (typeof consentScopes)[number];
  granted_s: number;
  given_by_role: string;
  withdrawn_s: number | null;
}

export interface SensorTable {
  id: string;
  club_id: string;
  label: string;
  placement: string;
  owner_player_id: string | null;
  /** The sensor description as it came, in hexadecimal. */
  description: string;
  first_seen_s: number;
  last_seen_s: number;
}

export interface SessionTable {
  id: string;
  club_id: string;
  name: string;
  started_s: number;
  ended_s: number | null;
  time_zone: string;
  simulated: number;
  starred: number;
  /** Name of the recording file in the folder of recordings. */
  recording: string | null;
  notes: string;
  settings: string;
  /** Version of the analysis that has gone through the whole recording; null before one has. */
  analysed_version: string | null;
  /** When the recording was deleted because the club keeps recordings for so long only; null otherwise. */
  recording_deleted_s: number | null;
}

export interface ShotSetTable {
  id: string;
  club_id: string;
  session_id: string;
  player_id: string | null;
  kind: (typeof setKinds)[number];
  name: string;
  spot: string;
  distance_m: number | null;
  started_s: number;
  ended_s: number | null;
  total_made: number | null;
  total_attempted: number | null;
  notes: string;
}

export interface SetFactorTable {
  id: string;
  club_id: string;
  set_id: string;
  factor: string;
  level: string;
}

export interface ShotTable {
  id: string;
  club_id: string;
  session_id: string;
  set_id: string | null;
  player_id: string | null;
  sensor_id: string | null;
  /** Which stream of the sensor in this session, and which shot of it. */
  stream_index: number;
  shot_index: number;
  /** Host time of the release, or of what stands for it. */
  at_s: number;
  outcome: (typeof outcomes)[number];
  miss_side: (typeof missSides)[number] | null;
  notes: string;
  /** Number and head of the document that clients were told of the shot; null for one that nobody was told live. */
  told_seq: number | null;
  told_head: string | null;
  /** Name under which clients were told of it. */
  told_id: string | null;
}

/** What one version of the analysis says of a shot; one result of each shot is the current one. */
export interface ShotResultTable {
  id: string;
  club_id: string;
  shot_id: string;
  is_current: number;
  analysis_version: string;
  /** The settings and parameters that it was made with. */
  parameters: string;
  created_s: number;
  start_kind: string;
  contact_kind: string;
  /** The whole shot as the analysis gave it. */
  document: string;
}

/** A roster that shoots in turn: each player so many shots, then the next. */
export interface RotationTable {
  id: string;
  club_id: string;
  session_id: string;
  /** The ball that goes round; null where every sensor that is nobody's counts. */
  sensor_id: string | null;
  shots_each: number;
  /** Counts the turns from 0; the player is the one at this place of the roster, counted round and round. */
  turn: number;
  shots_in_turn: number;
  started_s: number;
  ended_s: number | null;
}

export interface RotationPlayerTable {
  id: string;
  club_id: string;
  rotation_id: string;
  /** From 0. */
  place: number;
  player_id: string;
}

/** An instant that can be found in another recording too, such as a video. */
export interface MarkTable {
  id: string;
  club_id: string;
  session_id: string;
  at_s: number;
  /** Standard error of `at_s`. */
  uncertainty_s: number;
  /** Whose clock saw it first: this machine's, or the sensor's, brought to this machine's by the fit of the two. */
  clock: 'host' | 'sensor';
  origin: (typeof markOrigins)[number];
  /** With taps on a sensor: which one, its stream, and the instant in that stream's recording time. */
  sensor_id: string | null;
  stream_index: number | null;
  sensor_time_s: number | null;
  name: string;
}

/** A time of a shot that a person set, beside the one that the analysis gave; no analysis touches it. */
export interface TimeCorrectionTable {
  id: string;
  club_id: string;
  shot_id: string;
  phase: (typeof shotPhases)[number];
  /** Whose recording time it is: of this stream of this sensor. */
  sensor_id: string | null;
  stream_index: number;
  time_s: number;
  /** Spacing of the samples between which it was set. */
  resolution_s: number;
  made_s: number;
  by_role: string;
  by_name: string;
}

/** A recording that was gone through again, and what came of it. */
export interface AnalysisRunTable {
  id: string;
  club_id: string;
  session_id: string;
  analysis_version: string;
  by_role: string;
  by_name: string;
  made_s: number;
  /** Shots found again, those of them with other numbers, new ones, records put together, and those not found again. */
  again: number;
  changed: number;
  added: number;
  absorbed: number;
  not_found: number;
}

/** Something that the club has chosen, as JSON. */
export interface ClubChoiceTable {
  id: string;
  club_id: string;
  name: string;
  value: string;
}

/** Who changed which row from what to what. */
export interface EditTable {
  id: string;
  club_id: string;
  at_s: number;
  by_role: string;
  by_name: string;
  action: string;
  table_name: string;
  row_id: string;
  /** The whole row before and after; null where there was none. */
  before_row: string | null;
  after_row: string | null;
  /** Edits made as one, to be undone as one. */
  group_id: string;
  undone_by: string | null;
}

export interface Tables extends CoachingTables, HubTables, JobTables {
  club: ClubTable;
  player: PlayerTable;
  consent: ConsentTable;
  sensor: SensorTable;
  session: SessionTable;
  shot_set: ShotSetTable;
  set_factor: SetFactorTable;
  shot: ShotTable;
  shot_result: ShotResultTable;
  rotation: RotationTable;
  rotation_player: RotationPlayerTable;
  mark: MarkTable;
  time_correction: TimeCorrectionTable;
  analysis_run: AnalysisRunTable;
  club_choice: ClubChoiceTable;
  edit: EditTable;
}
