/** Tables of work that takes its time, which any machine may do, as `tables.ts` says of all. */

export const jobKinds = ['reanalysis', 'export'] as const;
export type JobKind = (typeof jobKinds)[number];

export const jobStates = ['waiting', 'running', 'done', 'parked', 'stopped'] as const;
export type JobState = (typeof jobStates)[number];

/** A piece of work. Instants are of the database's clock, which all workers share. */
export interface JobTable {
  id: string;
  club_id: string;
  kind: JobKind;
  /** What it is about: a session; there is one open piece of a kind for each. */
  subject: string;
  /** What is to be done, as JSON. */
  words: string;
  state: JobState;
  by_role: string;
  by_name: string;
  asked_s: number;
  /** After a failure it is left alone until then. */
  not_before_s: number;
  ended_s: number | null;
  /** How often it was begun. */
  tries: number;
  /** Who works on it, or did last. */
  worker: string | null;
  /** Known to nobody but the worker that holds it; another one with each try. */
  lease: string | null;
  lease_until_s: number | null;
  /** 0 to 1. */
  share: number;
  /** Why it failed last. */
  reason: string | null;
  /** Numbers of what came of it, as JSON. */
  counts: string;
}

/** Which result of a shot a job made: one of each version of the analysis, as the database itself sees to. */
export interface JobResultTable {
  club_id: string;
  shot_id: string;
  analysis_version: string;
  result_id: string;
  job_id: string;
}

/** What a job wrote for somebody to fetch, in pieces. */
export interface JobFileTable {
  club_id: string;
  job_id: string;
  /** Of the try that wrote it: those of a try that was not ended are nobody's. */
  lease: string;
  /** From 0. */
  place: number;
  content: Uint8Array;
}

/** Who is in an export that is done: whoever withdraws the consent to exports takes it away. */
export interface JobPlayerTable {
  club_id: string;
  job_id: string;
  player_id: string;
}

export interface JobTables {
  job: JobTable;
  job_result: JobResultTable;
  job_file: JobFileTable;
  job_player: JobPlayerTable;
}
