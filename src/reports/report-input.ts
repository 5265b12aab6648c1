import type { Bands } from '../coaching/bands.ts';
import type { DrillVerdict } from '../coaching/drill-proof.ts';
import type { Drill } from '../coaching/drills.ts';
import type { SensorPlace } from '../coaching/fault-rules.ts';
import type { FaultFinding } from '../coaching/fault-watch.ts';
import type { ProofPlan } from '../coaching/proof-plan.ts';
import type { Shot, ShotMeasureName } from '../shots/shot.ts';

/** Whom a report speaks to: what a coach works with, what a parent wants to know, what a researcher has to check. */
export const audiences = ['coach', 'parent', 'researcher'] as const;
export type Audience = (typeof audiences)[number];

/** How numbers are shown to this reader. */
export interface ReportUnits {
  readonly units: 'metric' | 'us';
  readonly spin: 'rev/s' | 'rpm';
}

export interface ReportPlayer {
  readonly pseudonym: string;
  readonly hand: 'left' | 'right';
  /** Youngest age of the player's band; null where nobody told it. */
  readonly ageYears: number | null;
}

export interface ReportShot {
  /** Seconds since the Unix epoch. */
  readonly atS: number;
  readonly outcome: 'make' | 'miss' | 'unknown';
  readonly shot: Omit<Shot, 'stage'>;
}

/** Shots of day and week, as far as sensors saw them or a person told them. */
export interface ReportLoad {
  readonly shots7Days: number;
  readonly shots7DaysBefore: number;
  readonly days7: number;
  readonly cautions: readonly { readonly code: string; readonly text: string; readonly source: string }[];
}

export interface ReportSet {
  readonly name: string;
  readonly kind: string;
  readonly spot: string;
  readonly distanceM: number | null;
  readonly conditions: readonly { readonly factor: string; readonly level: string }[];
  readonly shots: number;
  /** Counted makes of counted shots: single outcomes, or the total that a person noted. */
  readonly made: { readonly makes: number; readonly attempts: number } | null;
}

/** What a measure is, in the words of the program's own dictionary. */
export interface ReportDefinition {
  readonly unit: string;
  readonly definition: string;
  readonly method: string;
}

/** What every report says of itself. */
export interface ReportFrame {
  readonly audience: Audience;
  readonly units: ReportUnits;
  /** Seconds since the Unix epoch, and the zone in which it is told. */
  readonly madeS: number;
  readonly timeZone: string;
  readonly programVersion: string;
  readonly definitions: Readonly<Record<ShotMeasureName, ReportDefinition>>;
}

export interface SessionReportInput extends ReportFrame {
  readonly name: string;
  readonly startedS: number;
  readonly endedS: number | null;
  readonly simulated: boolean;
  /** Null: all players of the practice together, of whom nothing is judged. */
  readonly player: ReportPlayer | null;
  readonly places: readonly SensorPlace[];
  readonly shots: readonly ReportShot[];
  readonly sets: readonly ReportSet[];
  readonly bands: Bands;
  readonly findings: readonly FaultFinding[];
  readonly drills: readonly Drill[];
  readonly load: ReportLoad | null;
  readonly analysisVersions: readonly string[];
}

/** One practice of a player in a report over time. */
export interface ReportDay {
  readonly startedS: number;
  readonly simulated: boolean;
  readonly shots: number;
  readonly made: { readonly makes: number; readonly attempts: number } | null;
  readonly values: Readonly<
    Partial<Record<ShotMeasureName, { readonly values: readonly number[]; readonly standardErrors: readonly number[] }>>
  >;
}

/** A drill that was prescribed, and what became of it. */
export interface ReportProof {
  readonly drill: Drill;
  readonly measure: ShotMeasureName;
  readonly smallestChange: number;
  readonly verdict: DrillVerdict;
  readonly plan: ProofPlan;
}

export interface PlayerReportInput extends ReportFrame {
  readonly player: ReportPlayer;
  readonly days: readonly ReportDay[];
  readonly bands: Bands;
  readonly proofs: readonly ReportProof[];
  readonly load: ReportLoad | null;
}
