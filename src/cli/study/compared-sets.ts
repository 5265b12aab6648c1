import { type Command, InvalidArgumentError } from 'commander';
import { setsOfFactor } from '../../server/coaching/study-sets.ts';
import { type ComparedSets, plannedSets } from '../../server/reports/study-report-data.ts';
import { shotMeasureNames } from '../../shots/shot.ts';
import { findOne, withClub } from '../club/open-club.ts';
import type { Surroundings } from '../surroundings.ts';
import { UsageError } from '../usage-error.ts';
import { readStudyCsv } from './study-csv.ts';

/** What a person says of the sets to be compared. */
export interface CompareWords {
  readonly file?: string | undefined;
  readonly factor?: string;
  readonly study?: string;
  readonly player?: string;
  readonly measure?: readonly string[];
  readonly margin?: Readonly<Record<string, number>>;
}

/** Seed of what is dealt anew where no study has drawn one. */
const plainSeed = 'study analysis';

export function addCompareOptions(command: Command): Command {
  return command
    .option('--factor <name>', 'the condition that the sets were given, such as footwork')
    .option('--player <name>', 'sets of this player alone')
    .option('--measure <name>', 'a measure to compare besides the makes; may be given several times', collect)
    .option(
      '--margin <quantity=size>',
      'up to this difference two conditions count as the same, such as makes=0.05',
      marginOf,
    );
}

/** Reads the sets that are to be compared: of a file, of a condition, or of a planned study. @throws UsageError. */
export async function comparedSets(words: CompareWords, surroundings: Surroundings): Promise<ComparedSets> {
  const { file, factor, study, player, measure = [], margin = {} } = words;
  if ([file, factor, study].filter((one) => one !== undefined).length !== 1) {
    throw new UsageError(
      'expected one of: a CSV file of sets, --factor with a condition of kept sets, or a planned study by its name or id',
    );
  }
  if (file !== undefined) {
    const read = readStudyCsv(file);
    const unknown = measure.find((name) => !read.measures.includes(name));
    if (unknown !== undefined) {
      throw new UsageError(
        `${file} has no column ${JSON.stringify(unknown)}: its measures are ${read.measures.join(', ') || 'none'}`,
      );
    }
    const sets = player === undefined ? read.sets : read.sets.filter((set) => set.player === player);
    const from = { name: 'Sets of a file', factor: 'condition', simulated: false, blinded: null, seed: plainSeed };
    return { ...from, sets, measures: measure, margins: margin };
  }
  requireMeasures(measure);
  return withClub(surroundings, async (store) => {
    const who =
      player === undefined ? null : findOne('player', await store.players.list(), player, (one) => one.pseudonym);
    if (study !== undefined) {
      const { id } = findOne('study', await store.studies.list(), study, ({ name }) => name);
      const planned = await plannedSets(store, id, measure.length > 0 ? measure : undefined);
      const sets = who === null ? planned.sets : planned.sets.filter((set) => set.player === who.id);
      return { ...planned, sets, margins: { ...planned.margins, ...margin } };
    }
    const { sets, simulated } = await setsOfFactor(store, factor!, measure, who?.id ?? null);
    const from = { name: `Sets by ${factor}`, factor: factor!, simulated, blinded: null, seed: plainSeed };
    return { ...from, sets, measures: measure, margins: margin };
  });
}

function requireMeasures(names: readonly string[]): void {
  const unknown = names.find((name) => !(shotMeasureNames as readonly string[]).includes(name));
  if (unknown !== undefined) {
    throw new UsageError(
      `there is no measure ${JSON.stringify(unknown)}: expected one of ${shotMeasureNames.join(', ')}`,
    );
  }
}

/** Takes an option that may be given several times. */
export function collect(word: string, before: readonly string[] | undefined): readonly string[] {
  return [...(before ?? []), word];
}

function marginOf(
  text: string,
  before: Readonly<Record<string, number>> | undefined,
): Readonly<Record<string, number>> {
  const [, name, size] = /^([A-Za-z][A-Za-z0-9_-]*)=(\d*\.?\d+)$/.exec(text.trim()) ?? [];
  const value = Number(size);
  if (name === undefined || !(value > 0) || (name === 'makes' && value >= 1)) {
    throw new InvalidArgumentError(
      'Expected a quantity and a size above 0, such as makes=0.05 (makes as a share) or pauseS=0.03.',
    );
  }
  return { ...before, [name]: value };
}
