import { signal } from '@preact/signals';
import type {
  WireKeptSensor,
  WirePlayer,
  WireRotation,
  WireSession,
  WireSet,
  WireStoredShot,
} from '../../server/wire/practice-document.ts';
import type { Answer, ask as askService } from '../api.ts';
import { texts } from '../texts.ts';

/** What the coach's screens know of the practice that runs. */
export interface Practice {
  /** Null before the first shot of a run of the service. */
  readonly session: WireSession | null;
  readonly sets: readonly WireSet[];
  readonly rotations: readonly WireRotation[];
  readonly players: readonly WirePlayer[];
  readonly sensors: readonly WireKeptSensor[];
  /** In the order of time. */
  readonly shots: readonly WireStoredShot[];
}

export const emptyPractice: Practice = { session: null, sets: [], rotations: [], players: [], sensors: [], shots: [] };

/** Which shots a change means. */
export type WhichShots = { readonly shotIds: readonly string[] } | { readonly newestOf: string };

const pageSize = 500;
/** Shots that are read again with the newest ones: two sensors may tell of theirs in another order. */
const overlapCount = 20;

interface SessionAnswer {
  readonly session: WireSession;
  readonly sets: WireSet[];
  readonly rotations: WireRotation[];
}

/** A practice, the running one or an earlier one, read anew after every change and every shot. */
export class PracticeDesk {
  readonly practice = signal<Practice>(emptyPractice);
  /** What went wrong last, as a sentence; null where nothing did. */
  readonly trouble = signal<string | null>(null);
  readonly sessionId: string;
  readonly #ask: typeof askService;
  #reading: Promise<void> | null = null;
  #next: Promise<void> | null = null;

  /** @param sessionId of a session, or `current` for the one that runs. */
  constructor(ask: typeof askService, sessionId = 'current') {
    this.#ask = ask;
    this.sessionId = sessionId;
  }

  /** Reads everything anew, from now on; calls that come while it reads share one more reading. */
  refresh(): Promise<void> {
    if (this.#reading === null) {
      this.#reading = this.#read().finally(() => {
        this.#reading = null;
      });
      return this.#reading;
    }
    // What is being read may be older than what the caller has just changed.
    this.#next ??= this.#reading.then(() => {
      this.#next = null;
      return this.refresh();
    });
    return this.#next;
  }

  /** Reads the shots that came since, and what a shot changes besides. */
  async refreshNewest(): Promise<void> {
    if (this.practice.value.shots.length <= overlapCount) return this.refresh();
    await this.#reading;
    const known = this.practice.value.shots;
    const shots = await this.#readShots(known.slice(0, -overlapCount));
    const session = await this.#ask<SessionAnswer>('GET', this.#path);
    // What was read in the meantime as a whole is newer.
    if (this.practice.value.shots === known) {
      this.practice.value = { ...this.practice.value, ...(session.ok ? session.value : {}), shots };
    }
  }

  /** Asks for a change and reads what came of it. @returns whether it was done. */
  async change(method: 'POST' | 'PATCH' | 'PUT' | 'DELETE', path: string, body: unknown = {}): Promise<boolean> {
    const answer = await this.#ask(method, path, body);
    this.trouble.value = answer.ok ? null : texts.failed(answer.message);
    await this.refresh();
    return answer.ok;
  }

  tag(which: WhichShots, outcome: 'make' | 'miss' | 'unknown'): Promise<boolean> {
    return this.change('POST', '/api/shots/tag', { which, outcome });
  }

  assign(which: WhichShots, playerId: string | null): Promise<boolean> {
    return this.change('POST', '/api/shots/assign', { which, playerId });
  }

  get #path(): string {
    return `/api/sessions/${encodeURIComponent(this.sessionId)}`;
  }

  async #read(): Promise<void> {
    const [players, sensors, session] = await Promise.all([
      this.#ask<{ players: WirePlayer[] }>('GET', '/api/players'),
      this.#ask<{ sensors: WireKeptSensor[] }>('GET', '/api/known-sensors'),
      this.#ask<SessionAnswer>('GET', this.#path),
    ]);
    const before = this.practice.value;
    // Before the first shot there is no session: that is no trouble.
    const shots = session.ok ? await this.#readShots() : before.session === null ? [] : before.shots;
    const failed = [players, sensors].find((answer): answer is Extract<Answer<never>, { ok: false }> => !answer.ok);
    if (failed) this.trouble.value = texts.failed(failed.message);
    this.practice.value = {
      ...before,
      ...(session.ok ? session.value : {}),
      ...(players.ok ? players.value : {}),
      ...(sensors.ok ? sensors.value : {}),
      shots,
    };
  }

  /** @param before shots that need not be read again, oldest first. */
  async #readShots(before: readonly WireStoredShot[] = []): Promise<readonly WireStoredShot[]> {
    const shots: WireStoredShot[] = [...before];
    for (;;) {
      const last = shots.at(-1);
      const after = last ? `&afterS=${last.atS}&afterId=${encodeURIComponent(last.id)}` : '';
      const path = `${this.#path}/shots?limit=${pageSize}${after}`;
      const answer = await this.#ask<{ shots: WireStoredShot[] }>('GET', path);
      if (!answer.ok) return this.practice.value.shots;
      shots.push(...answer.value.shots);
      if (answer.value.shots.length < pageSize) return shots;
    }
  }
}

/** @returns whether a player agreed to be recorded and did not take that back. */
export function agreedToRecord(player: WirePlayer): boolean {
  return player.consents.some(({ scope, withdrawnS }) => scope === 'record' && withdrawnS === null);
}

/** @returns the shots between two of them, both included, in the order of time, whichever was named first. */
export function rangeOf(shots: readonly WireStoredShot[], one: string, other: string): readonly WireStoredShot[] {
  const places = [one, other].map((id) => shots.findIndex((shot) => shot.id === id)).sort((a, b) => a - b);
  const [from = -1, to = -1] = places;
  return from < 0 ? [] : shots.slice(from, to + 1);
}
