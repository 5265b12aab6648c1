/** Tables of coaching: targets by hand, drills with the blocks of their proof, load told by hand, sets of studies. */
import type { ClubStore } from '../../database/club-store.ts';
import { type ExportColumn, numberColumn, textColumn, wholeColumn } from './export-column.ts';

export interface ExportedTarget {
  readonly player: string;
  readonly measure: string;
  readonly target: number | null;
  readonly low: number | null;
  readonly high: number | null;
}

export const targetColumns: readonly ExportColumn<ExportedTarget>[] = [
  textColumn('player', 'name made for this export', ({ player }) => player),
  textColumn('measure', 'what the band is of, in the unit that its name says', ({ measure }) => measure),
  numberColumn('target', 'unit of the measure', 'where the coach wants it', ({ target }) => target),
  numberColumn('low', 'unit of the measure', 'lower end of the band set by hand; empty: none', ({ low }) => low),
  numberColumn('high', 'unit of the measure', 'upper end of the band set by hand; empty: none', ({ high }) => high),
];

export interface ExportedBlock {
  readonly player: string;
  readonly prescription: number;
  readonly fault: string;
  readonly measure: string;
  readonly faultSide: number;
  readonly smallestChange: number;
  readonly namedS: number;
  readonly role: string;
  readonly set: string;
  readonly startS: number;
}

export const blockColumns: readonly ExportColumn<ExportedBlock>[] = [
  textColumn('player', 'name made for this export', ({ player }) => player),
  wholeColumn('prescription', 'counts the drills that were given to the player', ({ prescription }) => prescription),
  textColumn('fault', 'rule whose fault the drill was given for', ({ fault }) => fault),
  textColumn('measure', 'what should move, in the unit that its name says', ({ measure }) => measure),
  wholeColumn('fault_side', '1 where too much of it is the fault, -1 where too little', ({ faultSide }) => faultSide),
  numberColumn('smallest_change', 'unit of the measure', 'least change that matters', (row) => row.smallestChange),
  numberColumn('named_at_s', 's', 'when the fault was named, moved by the shift of this export', (row) => row.namedS),
  textColumn('role', 'baseline, drill, retest or retention', ({ role }) => role),
  textColumn('set', 'the set that the block is', ({ set }) => set),
  numberColumn('start_at_s', 's', 'start of the block, moved by the shift of this export', ({ startS }) => startS),
];

export interface ExportedLoad {
  readonly player: string;
  readonly dayS: number;
  readonly shots: number;
  readonly minutes: number;
}

export const loadColumns: readonly ExportColumn<ExportedLoad>[] = [
  textColumn('player', 'name made for this export', ({ player }) => player),
  numberColumn('day_at_s', 's', 'a day, its start moved by the shift of this export', ({ dayS }) => dayS),
  wholeColumn('shots', 'shots that no sensor saw, told by hand', ({ shots }) => shots),
  numberColumn('minutes', 'min', 'minutes of practice that no sensor saw, told by hand', ({ minutes }) => minutes),
];

export interface ExportedStudySet {
  readonly study: number;
  readonly factor: string;
  readonly row: number;
  readonly place: number;
  readonly set: string;
  readonly player: string;
}

export const studySetColumns: readonly ExportColumn<ExportedStudySet>[] = [
  wholeColumn('study', 'counts the studies of the club', ({ study }) => study),
  textColumn('factor', 'condition that was varied, as a person wrote it', ({ factor }) => factor),
  wholeColumn('row', 'day of the plan, from 0', ({ row }) => row),
  wholeColumn('place', 'place in the order of the day, from 0', ({ place }) => place),
  textColumn('set', 'the set; its condition stands with the sets', ({ set }) => set),
  textColumn('player', 'whose set it is', ({ player }) => player),
];

/** What goes out, by the ids of players and sets that go out. */
export interface CoachingScope {
  /** Names made for this export, by id. */
  readonly players: Readonly<Record<string, string>>;
  readonly setName: (id: string) => string | null;
  readonly shiftOf: (playerId: string, atS: number) => number;
}

export async function* targetRows(store: ClubStore, { players }: CoachingScope): AsyncGenerator<ExportedTarget> {
  for (const [id, player] of Object.entries(players)) {
    for (const { measure, target, low, high } of await store.coaching.targets(id)) {
      yield { player, measure, target, low, high };
    }
  }
}

export async function* blockRows(store: ClubStore, scope: CoachingScope): AsyncGenerator<ExportedBlock> {
  for (const [id, player] of Object.entries(scope.players)) {
    for (const [at, prescription] of (await store.prescriptions.of(id)).entries()) {
      const shiftS = scope.shiftOf(id, prescription.made_s);
      for (const { role, set } of await store.prescriptions.blocks(prescription.id)) {
        const { fault, measure, fault_side, smallest_change, named_s } = prescription;
        yield {
          ...{ player, prescription: at + 1, fault, measure, faultSide: fault_side, smallestChange: smallest_change },
          ...{ namedS: named_s - shiftS, role, set: scope.setName(set.id) ?? '', startS: set.started_s - shiftS },
        };
      }
    }
  }
}

export async function* loadRows(store: ClubStore, scope: CoachingScope): AsyncGenerator<ExportedLoad> {
  for (const [id, player] of Object.entries(scope.players)) {
    for (const { date, shots, minutes } of await store.coaching.loadEntries(id)) {
      const dayS = Date.parse(`${date}T00:00:00Z`) / 1000;
      yield { player, dayS: dayS - scope.shiftOf(id, dayS), shots, minutes };
    }
  }
}

/** Sets of studies, of those that go out. */
export async function* studySetRows(store: ClubStore, scope: CoachingScope): AsyncGenerator<ExportedStudySet> {
  const studies = (await store.studies.list()).reverse();
  for (const [at, { id, factor }] of studies.entries()) {
    for (const { set, row_index, place } of await store.studies.sets(id)) {
      const name = scope.setName(set.id);
      const player = set.player_id === null ? '' : (scope.players[set.player_id] ?? null);
      if (name === null || player === null) continue;
      yield { study: at + 1, factor, row: row_index, place, set: name, player };
    }
  }
}
