import { signal } from '@preact/signals';
import type {
  WireDrill,
  WireDrills,
  WireLoad,
  WirePlayerCoaching,
  WirePlayerSet,
  WirePrescription,
  WireSessionStudy,
  WireTargets,
} from '../../server/wire/coaching-document.ts';
import type { WirePlayer } from '../../server/wire/practice-document.ts';
import type { ask as askService } from '../api.ts';
import { texts } from '../texts.ts';
import { inWords } from './served-words.ts';

type Method = 'POST' | 'PATCH' | 'PUT';

/** What the coaching screen knows of one player. */
export interface PlayerWork {
  readonly playerId: string;
  readonly coaching: WirePlayerCoaching | null;
  /** Null where they could not be read: that is not the same as none. */
  readonly prescriptions: readonly WirePrescription[] | null;
  readonly load: WireLoad | null;
  readonly study: WireSessionStudy | null;
  readonly targets: WireTargets | null;
  /** Sets to choose the best ones from. */
  readonly sets: readonly WirePlayerSet[];
}

/** Players, drills, and what is seen of the player that is looked at; read anew after every change. */
export class CoachingDesk {
  readonly players = signal<readonly WirePlayer[] | null>(null);
  /** Who was chosen last, also while another screen was looked at; null before anybody was. */
  readonly chosen = signal<string | null>(null);
  readonly drills = signal<readonly WireDrill[]>([]);
  /** Faults that a drill can be for. */
  readonly faults = signal<WireDrills['faults']>([]);
  readonly work = signal<PlayerWork | null>(null);
  /** What went wrong last, as a sentence; null where nothing did. */
  readonly trouble = signal<string | null>(null);
  /** What went wrong with the last change; it stands until the next one. */
  readonly refused = signal<string | null>(null);
  /** Whether a change is under way: another one has to wait for it. */
  readonly isChanging = signal(false);
  readonly #ask: typeof askService;
  #readings = 0;

  constructor(ask: typeof askService) {
    this.#ask = ask;
  }

  async readPlayers(): Promise<void> {
    const [players, drills] = await Promise.all([
      this.#ask<{ players: WirePlayer[] }>('GET', '/api/players'),
      this.#ask<WireDrills>('GET', '/api/drills'),
    ]);
    if (players.ok) this.players.value = players.value.players;
    if (drills.ok) {
      this.drills.value = drills.value.drills.map(inWords.drill);
      this.faults.value = inWords.faults(drills.value.faults);
    }
    const failed = [players, drills].find(({ ok }) => !ok);
    this.trouble.value = failed && !failed.ok ? texts.failed(failed.message) : null;
  }

  /** Reads what is seen of a player; an answer that a later reading has overtaken is dropped. */
  async read(playerId: string): Promise<void> {
    this.#readings += 1;
    const reading = this.#readings;
    const path = pathOf(playerId);
    const [coaching, prescriptions, load, targets, sets] = await Promise.all([
      this.#ask<WirePlayerCoaching>('GET', `${path}/coaching`),
      this.#ask<{ prescriptions: WirePrescription[] }>('GET', `${path}/prescriptions`),
      this.#ask<WireLoad>('GET', `${path}/load`),
      this.#ask<WireTargets>('GET', `${path}/targets`),
      this.#ask<{ sets: WirePlayerSet[] }>('GET', `${path}/sets`),
    ]);
    const sessionId = coaching.ok ? coaching.value.sessionId : null;
    const study =
      sessionId === null
        ? null
        : await this.#ask<WireSessionStudy>('GET', `${path}/sessions/${encodeURIComponent(sessionId)}/study`);
    if (reading !== this.#readings) return;
    const failed = [coaching, prescriptions, load, targets, sets, study].find(
      (answer) => answer !== null && !answer.ok,
    );
    this.trouble.value = failed && !failed.ok ? texts.failed(failed.message) : null;
    // What cannot be read now stays as it was read last.
    const before = this.work.value?.playerId === playerId ? this.work.value : null;
    this.work.value = {
      playerId,
      coaching: coaching.ok ? inWords.coaching(coaching.value) : (before?.coaching ?? null),
      prescriptions: prescriptions.ok
        ? prescriptions.value.prescriptions.map(inWords.prescription)
        : (before?.prescriptions ?? null),
      load: load.ok ? inWords.load(load.value) : (before?.load ?? null),
      study: study?.ok
        ? inWords.sessionStudy(study.value)
        : coaching.ok && study === null
          ? null
          : (before?.study ?? null),
      targets: targets.ok ? inWords.targets(targets.value) : (before?.targets ?? null),
      sets: sets.ok ? sets.value.sets : (before?.sets ?? []),
    };
  }

  /** Asks for a change and reads what came of it. @returns whether it was made. */
  change(playerId: string, method: Method, path: string, body: unknown): Promise<boolean> {
    return this.#change(method, path, body, () => this.read(playerId));
  }

  /** Asks for a change of the drills. @returns whether it was made. */
  changeDrill(method: Method, path: string, body: unknown): Promise<boolean> {
    return this.#change(method, path, body, async () => {
      const playerId = this.work.value?.playerId;
      // What is seen of a player names the drills for it.
      await Promise.all([this.readPlayers(), playerId === undefined ? undefined : this.read(playerId)]);
    });
  }

  async #change(method: Method, path: string, body: unknown, read: () => Promise<void>): Promise<boolean> {
    if (this.isChanging.value) return false;
    this.isChanging.value = true;
    try {
      const answer = await this.#ask(method, path, body);
      this.refused.value = answer.ok ? null : texts.failed(answer.message);
      await read();
      return answer.ok;
    } finally {
      this.isChanging.value = false;
    }
  }
}

export function pathOf(playerId: string): string {
  return `/api/players/${encodeURIComponent(playerId)}`;
}
