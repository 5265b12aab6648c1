import { signal } from '@preact/signals';
import type { WireStudy, WireStudyResult } from '../../server/wire/coaching-document.ts';
import type { WirePlayer } from '../../server/wire/practice-document.ts';
import type { ask as askService } from '../api.ts';
import { texts } from '../texts.ts';
import { inWords } from './served-words.ts';

/** What is asked of a new study. */
export interface StudyPlan {
  readonly name: string;
  readonly factor: string;
  readonly levels: readonly string[];
  readonly playerIds: readonly string[];
  readonly daysEach: number;
  readonly shotsASet: number;
  readonly blinded: boolean;
  readonly measures: readonly string[];
  readonly margins: Readonly<Record<string, number>>;
}

/** Studies, read anew after every change; a result when it is asked for. */
export class StudyDesk {
  readonly studies = signal<readonly WireStudy[] | null>(null);
  readonly players = signal<readonly WirePlayer[]>([]);
  readonly results = signal<ReadonlyMap<string, WireStudyResult>>(new Map());
  readonly trouble = signal<string | null>(null);
  /** Whether a change is under way: another one has to wait for it. */
  readonly isChanging = signal(false);
  readonly #ask: typeof askService;

  constructor(ask: typeof askService) {
    this.#ask = ask;
  }

  async read(): Promise<void> {
    const [studies, players] = await Promise.all([
      this.#ask<{ studies: WireStudy[] }>('GET', '/api/studies'),
      this.#ask<{ players: WirePlayer[] }>('GET', '/api/players'),
    ]);
    if (studies.ok) this.studies.value = studies.value.studies;
    if (players.ok) this.players.value = players.value.players;
    this.trouble.value = studies.ok ? null : texts.failed(studies.message);
  }

  async readResult(studyId: string): Promise<void> {
    const answer = await this.#ask<WireStudyResult>('GET', `${pathOf(studyId)}/result`);
    this.trouble.value = answer.ok ? null : texts.failed(answer.message);
    if (answer.ok) this.results.value = new Map(this.results.value).set(studyId, inWords.studyResult(answer.value));
  }

  /** @returns whether it was planned. */
  plan(plan: StudyPlan): Promise<boolean> {
    return this.#change('/api/studies', plan);
  }

  /** Starts the next set of a day of the plan. */
  startSet(studyId: string, row: number): Promise<boolean> {
    return this.#change(`${pathOf(studyId)}/sets`, { row });
  }

  close(studyId: string): Promise<boolean> {
    return this.#change(`${pathOf(studyId)}/close`, {});
  }

  async #change(path: string, body: unknown): Promise<boolean> {
    if (this.isChanging.value) return false;
    this.isChanging.value = true;
    try {
      const answer = await this.#ask('POST', path, body);
      await this.read();
      if (!answer.ok) this.trouble.value = texts.failed(answer.message);
      return answer.ok;
    } finally {
      this.isChanging.value = false;
    }
  }
}

function pathOf(studyId: string): string {
  return `/api/studies/${encodeURIComponent(studyId)}`;
}

/** @returns the day of the plan that is shot next: the first one with a set left, and which condition comes there. */
export function nextSet({
  order,
  conditions,
  sets,
}: WireStudy): { readonly row: number; readonly condition: string } | null {
  for (const [row, places] of order.entries()) {
    const shot = sets.filter((set) => set.row === row).length;
    const next = places[shot];
    if (next !== undefined) return { row, condition: conditions[next] ?? '' };
  }
  return null;
}
