/** Tables of coaching, as `tables.ts` says of all. */

export const blockRoles = ['baseline', 'drill', 'retest', 'retention'] as const;

/** A band of a measure that the coach set for a player by hand. */
export interface PlayerTargetTable {
  id: string;
  club_id: string;
  player_id: string;
  measure: string;
  target: number | null;
  low: number | null;
  high: number | null;
}

/** A set that a player or coach called one of the player's best. */
export interface BestSetTable {
  id: string;
  club_id: string;
  player_id: string;
  set_id: string;
}

/** A drill of the coach's own, as JSON in the form of those of the library. */
export interface OwnDrillTable {
  id: string;
  club_id: string;
  document: string;
  made_s: number;
  /** Not offered any more from then on; prescriptions keep it. */
  retired_s: number | null;
}

/** A drill given to a player for a fault, and what is to be proved of it. */
export interface PrescriptionTable {
  id: string;
  club_id: string;
  player_id: string;
  fault: string;
  /** The whole drill as it was when it was given. */
  drill: string;
  measure: string;
  /** 1 where too much of the measure is the fault, -1 where too little. */
  fault_side: number;
  smallest_change: number;
  made_s: number;
  /** When the fault was named: what was shot until then is no baseline. */
  named_s: number;
  /** When it is to be tested what was kept; null where nobody said. */
  retention_due_s: number | null;
  ended_s: number | null;
  notes: string;
}

/** A set of shots as part of a proof. */
export interface ProofBlockTable {
  id: string;
  club_id: string;
  prescription_id: string;
  set_id: string;
  role: (typeof blockRoles)[number];
}

/** Shots and minutes of a day that no sensor saw, told by hand. */
export interface LoadEntryTable {
  id: string;
  club_id: string;
  player_id: string;
  /** Local date, YYYY-MM-DD. */
  date: string;
  shots: number;
  minutes: number;
}

/** A comparison of conditions that was planned before it began. */
export interface StudyTable {
  id: string;
  club_id: string;
  name: string;
  factor: string;
  /** Levels, labels, margins, measures, players, block order: as JSON. */
  design: string;
  /** What the order and the labels were drawn with. */
  seed: string;
  blinded: number;
  made_s: number;
  /** When it was closed, and its labels with it opened. */
  closed_s: number | null;
}

/** A set that was shot for a study. */
export interface StudySetTable {
  id: string;
  club_id: string;
  study_id: string;
  set_id: string;
  /** Day of a player in the study's order, and place in that row, from 0. */
  row_index: number;
  place: number;
}

export interface CoachingTables {
  player_target: PlayerTargetTable;
  best_set: BestSetTable;
  own_drill: OwnDrillTable;
  prescription: PrescriptionTable;
  proof_block: ProofBlockTable;
  load_entry: LoadEntryTable;
  study: StudyTable;
  study_set: StudySetTable;
}
