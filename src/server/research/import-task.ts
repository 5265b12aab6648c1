import type { Actor } from '../../sessions/database/store-context.ts';
import type { CsvMapping } from '../../sessions/exchange/csv-mapping.ts';
import type { ArmMount, BallSettings } from '../../shots/shot.ts';

/** An import as the service hands it to the thread that does it, which the program composes. */
export interface ImportTask {
  readonly dataFolder: string;
  readonly files: readonly string[];
  readonly sources: readonly {
    readonly placement: 'ball' | 'wrist' | null;
    readonly mount: ArmMount | null;
    readonly mapping: CsvMapping | null;
    readonly filterDelayS: number | null;
  }[];
  /** What the person said of ball, hoop and spot; the rest is as usual, or as the recording says. */
  readonly saidSettings: Partial<BallSettings>;
  readonly playerId: string | null;
  readonly startedS: number | null;
  readonly timeZone: string;
  readonly name: string | null;
  readonly actor: Actor;
}

export interface ImportDone {
  readonly sessionId: string;
  readonly shotCount: number;
  readonly mergedCount: number;
  /** Where the start of the session is known from. */
  readonly startFrom: string;
  readonly warnings: readonly string[];
}
