import { signal } from '@preact/signals';
import type {
  WireKeptSensor,
  WirePlayer,
  WireRotation,
  WireSession,
  WireSessionShots,
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
  /** The newest ones, in the order of time. */
  readonly shots: readonly WireStoredShot[];
  /** Shots of the practice that lie before these and are not held. */
  readonly earlierCount: number;
  /** How many shots of the whole practice are whose and in which set. */
  readonly shotsOf: readonly WireSessionShots[];
}

export const emptyPractice: Practice = {
  ...{ session: null, sets: [], rotations: [], players: [], sensors: [], shots: [] },
  ...{ earlierCount: 0, shotsOf: [] },
};

/** Which shots a change means. */
export type WhichShots = { readonly shotIds: readonly string[] } | { readonly newestOf: string };

/** Shots that are held, and as many more with each wish: a page that stays open all day must not hold the day. */
export const shotsAtOnce = 100;
const pageSize = 1000;
/** Shots that are read again with the newest ones: two sensors may tell of theirs in another order. */
const overlapCount = 20;

interface SessionAnswer {
  readonly session: WireSession;
  readonly sets: WireSet[];
  readonly rotations: WireRotation[];
  readonly shotsOf: WireSessionShots[];
}

interface ShotsAnswer {
  readonly shots: readonly WireStoredShot[];
  /** Shots of the practice before these. */
  readonly earlier: number;
}

type HeldShots = Pick<Practice, 'shots' | 'earlierCount'>;

/** A practice, the running one or an earlier one, read anew after every change and every shot. */
export class PracticeDesk {
  readonly practice = signal<Practice>(emptyPractice);
  /** What went wrong last, as a sentence; null where nothing did. */
  readonly trouble = signal<string | null>(null);
  readonly sessionId: string;
  readonly #ask: typeof askService;
  #wanted = shotsAtOnce;
  #reading: Promise<void> | null = null;
  #next: Promise<void> | null = null;
  #readFailure: string | null = null;

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

  /** Holds earlier shots too, from now on. */
  readEarlier(): Promise<void> {
    this.#wanted += shotsAtOnce;
    return this.refresh();
  }

  /** Reads the shots that came since, and what a shot changes besides. */
  async refreshNewest(): Promise<void> {
    if (this.practice.value.shots.length <= overlapCount) return this.refresh();
    await this.#reading;
    const known = this.practice.value;
    const [newest, session] = await Promise.all([
      this.#ask<ShotsAnswer>('GET', `${this.#path}/shots?newest=true&limit=${overlapCount}`),
      this.#ask<SessionAnswer>('GET', this.#path),
    ]);
    // What was read in the meantime as a whole is newer.
    if (this.practice.value.shots !== known.shots) return;
    const held = newest.ok ? this.#joined(known, newest.value) : known;
    // More came, or went, than was asked for: what lies between is not known.
    if (held === null) return this.refresh();
    this.practice.value = {
      ...this.practice.value,
      ...(session.ok ? session.value : {}),
      ...{ shots: held.shots, earlierCount: held.earlierCount },
    };
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
    // Before the first shot there is no session that runs: that is no trouble.
    const asked = this.sessionId === 'current' ? [players, sensors] : [players, sensors, session];
    const failed = asked.find((answer): answer is Extract<Answer<never>, { ok: false }> => !answer.ok);
    this.#tellReading(failed ? texts.failed(failed.message) : null);
    // Where nothing was answered, nothing is known that was not before.
    if (!players.ok && !sensors.ok && !session.ok) return;
    const none: HeldShots = { shots: [], earlierCount: 0 };
    const held = session.ok ? await this.#readShots() : before.session === null ? none : before;
    this.practice.value = {
      ...before,
      ...(session.ok ? session.value : {}),
      ...(players.ok ? players.value : {}),
      ...(sensors.ok ? sensors.value : {}),
      ...{ shots: held.shots, earlierCount: held.earlierCount },
    };
  }

  /** Says that reading failed, and takes that back once it works again; what became of a change stays told. */
  #tellReading(failure: string | null): void {
    if (failure !== null || this.trouble.value === this.#readFailure) this.trouble.value = failure;
    this.#readFailure = failure;
  }

  /** @returns the newest shots, as many as are wanted, and how many lie before them. */
  async #readShots(): Promise<HeldShots> {
    let shots: readonly WireStoredShot[] = [];
    for (;;) {
      const [first] = shots;
      const before = first ? `&beforeS=${first.atS}&beforeId=${encodeURIComponent(first.id)}` : '';
      const limit = Math.min(pageSize, this.#wanted - shots.length);
      const path = `${this.#path}/shots?newest=true&limit=${limit}${before}`;
      const answer = await this.#ask<ShotsAnswer>('GET', path);
      if (!answer.ok) return this.practice.value;
      shots = [...answer.value.shots, ...shots];
      const earlierCount = answer.value.earlier;
      const isAll = shots.length >= this.#wanted || earlierCount === 0 || answer.value.shots.length === 0;
      if (isAll) return { shots, earlierCount };
    }
  }

  /** @returns the shots that are held with the newest ones in place of those that were; null where these do not join. */
  #joined(known: HeldShots, { shots: newest, earlier }: ShotsAnswer): HeldShots | null {
    const [first] = newest;
    if (first === undefined) return null;
    const before = known.shots.filter(({ atS, id }) => atS < first.atS || (atS === first.atS && id < first.id));
    if (known.earlierCount + before.length !== earlier) return null;
    const all = [...before, ...newest];
    const shots = all.slice(-this.#wanted);
    return { shots, earlierCount: known.earlierCount + all.length - shots.length };
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
