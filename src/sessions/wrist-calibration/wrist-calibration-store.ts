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

/**
 * Whose reference shots: a player of the club by id, whatever the name is by now, or a mere name where the club has no such player.
 */
export interface SpinPlayer {
  readonly id: string | null;
  readonly name: string;
}

/**
 * Reference shots of every player. A JSON file today; a database can stand behind it as well. Shots that were kept under a mere
 * name belong to the player of that name, once there is one with an id.
 */
export interface WristCalibrationStore {
  /** @returns the players that have reference shots, by the names they had then, in alphabetical order. */
  players(): Promise<readonly SpinPlayer[]>;
  /** @returns reference shots of a player, oldest first; none for a player who is not known. */
  references(player: SpinPlayer): Promise<readonly KeptSpinReference[]>;
  /** Keeps a reference shot that the model has taken. */
  add(player: SpinPlayer, reference: KeptSpinReference): Promise<void>;
  /** Forgets the reference shots of a player. @returns how many there were. */
  clear(player: SpinPlayer): Promise<number>;
  /** Gives shots kept under a mere name to these players by their ids, so that they stay theirs under another name. */
  claim(players: readonly SpinPlayer[]): Promise<void>;
}

/** Longest name of a player in characters. */
export const longestPlayerName = 100;
