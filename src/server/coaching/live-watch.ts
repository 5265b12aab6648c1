import { readWatch, type WatchCoefficients, type WatchState } from '../../coaching/fault-watch.ts';
import type { Logger } from '../../foundation/logger.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { EditedTable } from '../../sessions/database/edit-log.ts';
import { stateOfFinding } from './coaching-documents.ts';
import { distancesOf, stepStored, watchPractice } from './player-watch.ts';

export interface LiveWatchOptions {
  readonly store: ClubStore;
  readonly logger: Logger;
  /** Told when a finding of a player appears or changes; it says whose practice, and nothing of what was found. */
  readonly onChange: (sessionId: string) => void;
}

/** One player in one practice. */
interface Followed {
  readonly coefficients: WatchCoefficients;
  state: WatchState;
  last: { readonly atS: number; readonly id: string } | null;
  /** Which faults are named or show signs. */
  signature: string;
}

/** Changes after which a player's practice is gone through anew: who shot what from where, and what is looked for. */
const upsetting: readonly EditedTable[] = [
  'player',
  'shot',
  'shot_set',
  'time_correction',
  'player_target',
  'best_set',
];

/**
 * Leads each stored shot of a player through the watch for faults as it comes. What is known lies in the store alone: the first shot
 * after a start, or after a change of what was shot, goes through the practice from its beginning.
 */
export class LiveWatch {
  readonly #options: LiveWatchOptions;
  readonly #followed = new Map<string, Followed>();
  #work: Promise<void> = Promise.resolve();
  /** Rises with every change that upsets what is followed. */
  #upsets = 0;

  constructor(options: LiveWatchOptions) {
    this.#options = options;
    options.store.edits.listen(({ rows }) => {
      if (!rows.some(({ table }) => upsetting.includes(table))) return;
      this.#upsets++;
      this.#followed.clear();
    });
  }

  /** Takes note that a shot of the player has been stored. @returns when it was looked at; never fails. */
  take(playerId: string, sessionId: string): Promise<void> {
    this.#work = this.#work
      .then(() => this.#look(playerId, sessionId))
      .catch((error: unknown) => {
        const why = error instanceof Error ? error.message : String(error);
        this.#options.logger.error({ why }, 'a shot could not be looked at for faults');
      });
    return this.#work;
  }

  /** Resolves when every shot so far was looked at. */
  idle(): Promise<void> {
    return this.#work;
  }

  async #look(playerId: string, sessionId: string): Promise<void> {
    const { store, onChange } = this.#options;
    const key = `${playerId} ${sessionId}`;
    const upsets = this.#upsets;
    const known = this.#followed.get(key);
    const fresh = known ? await this.#further(known, playerId, sessionId) : false;
    if (known && fresh) {
      const signature = signatureOf(known);
      if (signature !== known.signature) {
        known.signature = signature;
        onChange(sessionId);
      }
      return;
    }
    const { coefficients, state, shots } = await watchPractice(store, await store.players.get(playerId), sessionId);
    const last = shots.at(-1);
    const followed: Followed = {
      coefficients,
      state,
      last: last ? { atS: last.at_s, id: last.id } : null,
      signature: '',
    };
    followed.signature = signatureOf(followed);
    if (upsets === this.#upsets) this.#followed.set(key, followed);
    if (followed.signature !== (known?.signature ?? '')) onChange(sessionId);
  }

  /** @returns whether the newest shots were taken; false where there is none behind the last, which then came late. */
  async #further(followed: Followed, playerId: string, sessionId: string): Promise<boolean> {
    const { store } = this.#options;
    const { last } = followed;
    if (last === null) return false;
    const shots = await store.shots.list({ sessionId, playerId, after: last });
    if (shots.length === 0) return false;
    const distances = await distancesOf(store, sessionId);
    for (const shot of shots) {
      followed.state = stepStored(followed.coefficients, followed.state, shot, distances);
      followed.last = { atS: shot.at_s, id: shot.id };
    }
    return true;
  }
}

function signatureOf({ coefficients, state }: Followed): string {
  return readWatch(coefficients, state)
    .map((finding) => ({ name: finding.name, is: stateOfFinding(finding) }))
    .filter(({ is }) => is !== 'nothing')
    .map(({ name, is }) => `${name} ${is}`)
    .sort()
    .join(', ');
}
