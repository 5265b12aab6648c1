import type { SpinReference } from '../../shots/wrist/backspin.ts';

/** Where a reference shot's spin came from. */
export type SpinOrigin =
  | {
      readonly kind: 'video';
      readonly revolutions: number;
      readonly frames: number;
      readonly frameRateHz: number;
    }
  | { readonly kind: 'ball-sensor'; readonly sensorId: string | null; readonly shotIndex: number | null };

/** A reference shot as it is kept. */
export interface KeptSpinReference extends SpinReference {
  readonly id: string;
  /** Seconds since the Unix epoch. */
  readonly addedS: number;
  readonly origin: SpinOrigin;
}

/** Reference shots of every player. A JSON file today; a database can stand behind it as well. */
export interface WristCalibrationStore {
  /** @returns the players that have reference shots, in alphabetical order. */
  players(): Promise<readonly string[]>;
  /** @returns reference shots of a player, oldest first; none for a player who is not known. */
  references(player: string): Promise<readonly KeptSpinReference[]>;
  /** Keeps a reference shot that the model has taken. */
  add(player: string, reference: KeptSpinReference): Promise<void>;
  /** Forgets the reference shots of a player. @returns how many there were. */
  clear(player: string): Promise<number>;
}

/** Longest name of a player in characters. */
export const longestPlayerName = 100;
