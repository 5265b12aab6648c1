/** Tables of courts and their hub, as `tables.ts` says of all. */

/** What is handed from a court to the hub and back, each with all that belongs to it. */
export const handedEntities = [
  'player',
  'sensor',
  'session',
  'shot_set',
  'shot',
  'mark',
  'edit',
  'player_notice',
  'player_target',
  'best_set',
  'own_drill',
  'prescription',
  'proof_block',
  'load_entry',
  'study',
  'study_set',
  'rotation',
  'rotation_player',
  'sensor_calibration',
] as const;
export type HandedEntity = (typeof handedEntities)[number];

/** What a hub tells its courts of itself. Of the rest they hear by what people changed in it: shots and sets stay on the court where they were shot. */
export const handedToCourts: readonly HandedEntity[] = [
  ...(['player', 'edit', 'player_notice', 'player_target', 'best_set', 'own_drill', 'prescription'] as const),
  ...(['proof_block', 'load_entry', 'study', 'study_set', 'sensor_calibration'] as const),
];

export const noticeKinds = ['withheld', 'joined', 'erased'] as const;

/** Each thing that was ever written, under the number of its last change; a change takes its place, so that it grows no longer. */
export interface ChangeLogTable {
  /** Rises with every change; in PostgreSQL changes become visible in the order of their numbers. */
  seq: number;
  club_id: string;
  entity: HandedEntity;
  entity_id: string;
}

/** What became of a player, for every court: it beats all that is known of the player. */
export interface PlayerNoticeTable {
  /** SHA-256 of the player's id in hexadecimal: nothing of an erased player is to be found, not even the id. */
  id: string;
  club_id: string;
  kind: (typeof noticeKinds)[number];
  at_s: number;
  /** The player that this one was joined with. */
  into_player_id: string | null;
}

/** A court that may hand over to this hub. */
export interface HubCourtTable {
  id: string;
  club_id: string;
  name: string;
  /** SHA-256 of its key in hexadecimal. */
  key_hash: string;
  made_s: number;
  revoked_s: number | null;
}

/** The last change of each thing that a court handed over; an older one that comes late changes nothing. */
export interface HubSeenTable {
  club_id: string;
  court_id: string;
  entity: HandedEntity;
  entity_id: string;
  seq: number;
}

/** How far a court has come with its hub. */
export interface HubPositionTable {
  id: string;
  club_id: string;
  value: string;
}

/** What the hub refused, with its reason; tried again when it is changed. */
export interface HubParkedTable {
  id: string;
  club_id: string;
  entity: HandedEntity;
  entity_id: string;
  reason: string;
  at_s: number;
}

/** A recording that a court hands over, in pieces; under the id of its session. */
export interface HubRecordingTable {
  id: string;
  club_id: string;
  court_id: string;
  byte_count: number;
  piece_bytes: number;
  /** SHA-256 of the whole in hexadecimal. */
  checksum: string;
  complete_s: number | null;
}

export interface HubRecordingPieceTable {
  recording_id: string;
  club_id: string;
  /** From 0. */
  place: number;
  content: Uint8Array;
}

/** A calibration of a sensor as a court made it. Another one of the same sensor stands beside it; the newest that makes sense is used. */
export interface SensorCalibrationTable {
  id: string;
  club_id: string;
  sensor_id: string;
  made_s: number;
  /** As JSON, in the form of the file of calibrations. */
  document: string;
}

export interface HubTables {
  sensor_calibration: SensorCalibrationTable;
  change_log: ChangeLogTable;
  player_notice: PlayerNoticeTable;
  hub_court: HubCourtTable;
  hub_seen: HubSeenTable;
  hub_position: HubPositionTable;
  hub_parked: HubParkedTable;
  hub_recording: HubRecordingTable;
  hub_recording_piece: HubRecordingPieceTable;
}
