import { randomBytes } from 'node:crypto';

export type NamedKind = 'player' | 'session' | 'sensor' | 'set';

/** Gives everything a number in the order in which it is met: a name that says nothing of the person. */
export class ExportNames {
  readonly #numbers = new Map<NamedKind, Map<string, string>>();
  readonly #sensorIds = new Map<string, string>();

  of(kind: NamedKind, id: string | null): string {
    if (id === null) return '';
    let known = this.#numbers.get(kind);
    if (!known) {
      known = new Map();
      this.#numbers.set(kind, known);
    }
    const name = known.get(id) ?? `${kind}-${String(known.size + 1).padStart(3, '0')}`;
    known.set(id, name);
    return name;
  }

  /** @returns what takes the place of a sensor's own id in a raw recording: random, and the same throughout the export. */
  rawSensorId(id: string): string {
    const known = this.#sensorIds.get(id) ?? randomBytes(16).toString('hex');
    this.#sensorIds.set(id, known);
    return known;
  }

  count(kind: NamedKind): number {
    return this.#numbers.get(kind)?.size ?? 0;
  }

  /** @returns everything that leads back. */
  key(): Record<string, Record<string, string>> {
    return {
      ...Object.fromEntries([...this.#numbers].map(([kind, known]) => [kind, Object.fromEntries(known)])),
      rawSensorId: Object.fromEntries(this.#sensorIds),
    };
  }
}

/** First instants lie somewhere in these years, far from any practice, so that nobody takes a moved date for a real one. */
const movedTo = { fromS: Date.UTC(1971, 0) / 1000, untilS: Date.UTC(1981, 0) / 1000 } as const;

/** What is taken from every instant, s: one number for the whole export, or one for each player. */
export class ExportShift {
  readonly #kind: 'none' | 'one' | 'per-player';
  readonly #shifts = new Map<string, number>();
  readonly #uniform: () => number;

  /** @param uniform a random number in [0, 1). */
  constructor(kind: 'none' | 'one' | 'per-player', uniform: () => number) {
    this.#kind = kind;
    this.#uniform = uniform;
  }

  get kind(): 'none' | 'one' | 'per-player' {
    return this.#kind;
  }

  /** @param firstS an instant of the player's, or of anybody's, from which the shift is drawn when it is first asked for. */
  of(playerId: string | null, firstS: number): number {
    if (this.#kind === 'none') return 0;
    const who = this.#kind === 'one' ? '' : (playerId ?? '');
    const known = this.#shifts.get(who);
    if (known !== undefined) return known;
    const toS = movedTo.fromS + this.#uniform() * (movedTo.untilS - movedTo.fromS);
    const shift = Math.round(firstS - toS);
    this.#shifts.set(who, shift);
    return shift;
  }

  /** @returns the shifts, by player where each has one. */
  key(): number | Record<string, number> {
    return this.#kind === 'per-player' ? Object.fromEntries(this.#shifts) : (this.#shifts.get('') ?? 0);
  }
}
