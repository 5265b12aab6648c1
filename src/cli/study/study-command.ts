import { randomBytes } from 'node:crypto';
import { type Command, InvalidArgumentError } from 'commander';
import { shownMeasure } from '../../reports/shown-measure.ts';
import { distancesOf } from '../../server/coaching/player-watch.ts';
import { rangeOf } from '../../server/coaching/session-study-document.ts';
import { resultDocument } from '../../server/coaching/study-document.ts';
import type { StoredShot } from '../../sessions/database/shot-records.ts';
import { analyzeStudy } from '../../study/analyze-study.ts';
import { seededSource } from '../../study/seeded-source.ts';
import { drawStudyOrder, type PlanOptions, planInWords, planMakes, planMeans } from '../../study/study-plan.ts';
import { findOne, withClub } from '../club/open-club.ts';
import { findSession } from '../club/session-text.ts';
import { numberWithin, wholeNumberWithin } from '../option-values.ts';
import type { Surroundings } from '../surroundings.ts';
import { wrapText } from '../table/text-width.ts';
import { UsageError } from '../usage-error.ts';
import { addCompareOptions, type CompareWords, collect, comparedSets } from './compared-sets.ts';
import { studyText } from './study-text.ts';

interface PlanWords {
  readonly makes?: readonly number[];
  readonly effect?: number;
  readonly margin?: number;
  readonly power: number;
  readonly alpha: number;
  readonly shotsASet: number;
  readonly alike: number;
  readonly condition?: readonly string[];
  readonly days: number;
  readonly seed?: string;
  readonly blind?: true;
  readonly json?: true;
}

interface AnalyseWords extends CompareWords {
  readonly json?: true;
}

/** Adds `study` to the program. */
export function addStudyCommand(program: Command, surroundings: Surroundings): void {
  const study = program
    .command('study')
    .summary('compare conditions: how many shots it takes, in which order, and what came of it');
  study
    .command('plan')
    .summary('how many shots a question takes, and the order in which to shoot the conditions')
    .option('--makes <percents>', 'make percentages to be told apart, such as 44,42', percents)
    .option(
      '--effect <spreads>',
      'difference of a measure, in spreads from shot to shot',
      numberWithin(0.01, 10, 'spreads', '0.5'),
    )
    .option(
      '--margin <points>',
      'up to this difference the make percentages count as the same',
      numberWithin(0.1, 50, 'points', '5'),
    )
    .option('--power <percent>', 'chance to find the difference', numberWithin(50, 99.9, '%', '80'), 80)
    .option('--alpha <percent>', 'chance of a false alarm', numberWithin(0.1, 50, '%', '5'), 5)
    .option('--shots-a-set <count>', 'shots of a set', wholeNumberWithin(1, 1000), 25)
    .option('--alike <share>', 'how alike the shots of a set are, 0 to 1', numberWithin(0, 1, '', '0.05'), 0)
    .option('--condition <name>', 'a condition to be put in order; give each one', collect)
    .option('--days <count>', 'days to draw an order for, of all players together', wholeNumberWithin(1, 1000), 8)
    .option('--seed <words>', 'draw the same order again')
    .option('--blind', 'cover the conditions by letters')
    .option('--json', 'print JSON')
    .action((words: PlanWords) => {
      surroundings.stdout.write(planOf(words, surroundings.widthColumns));
    });
  const analysis = study
    .command('analyse')
    .alias('analyze')
    .summary('what a study says: sentences first, then tables, then methods')
    .argument('[file]', 'CSV of sets: player,day,condition,attempted,made,outcomes; without it the kept practices')
    .option('--study <study>', 'name of a planned study, or its id');
  addCompareOptions(analysis)
    .option('--json', 'print JSON')
    .action((file: string | undefined, words: AnalyseWords) => analyse(file, words, surroundings));
  study
    .command('range')
    .summary('range test: the distance from which the shot becomes another one')
    .argument('<session>', 'id, or its beginning; "last" is the newest')
    .option('--player <name>', 'shots of this player alone')
    .option('--json', 'print JSON')
    .addHelpText(
      'after',
      '\nThe sets of the practice need told distances, three at least, best in random order so that tiring is not taken for range.',
    )
    .action((word: string, { player, json }: { player?: string; json?: true }) =>
      withClub(surroundings, async (store) => {
        const session = await findSession(store, word);
        const who =
          player === undefined ? null : findOne('player', await store.players.list(), player, (one) => one.pseudonym);
        const filter = { sessionId: session.id, ...(who && { playerId: who.id }) };
        const shots: StoredShot[] = await store.shots.all(filter);
        const shown = shownMeasure('liftToReleaseS', { units: who?.units ?? 'metric', spin: 'rev/s' });
        const range = rangeOf(shots, await distancesOf(store, session.id), shown, seededSource(`range ${session.id}`));
        surroundings.stdout.write(
          json
            ? `${JSON.stringify(range, null, 2)}\n`
            : `${wrapText(range.sentence, surroundings.widthColumns, '  ').join('\n')}\n`,
        );
      }),
    );
}

function planOf(words: PlanWords, width: number): string {
  const { makes, effect, condition, margin, json } = words;
  const options: PlanOptions = {
    alpha: words.alpha / 100,
    power: words.power / 100,
    shotsASet: words.shotsASet,
    correlationWithin: words.alike,
    ...(margin !== undefined && { margin: margin / 100 }),
  };
  if (makes === undefined && effect === undefined && condition === undefined) {
    throw new UsageError(
      'expected what is to be told apart: --makes 44,42 or --effect 0.5; or conditions to be put in order: --condition hop --condition one-two',
    );
  }
  const plans = [
    ...(makes === undefined ? [] : [planMakes(makes[0]! / 100, makes[1]! / 100, options)]),
    ...(effect === undefined ? [] : [planMeans(effect, options)]),
  ];
  const seed = words.seed ?? randomBytes(8).toString('hex');
  const drawn = condition === undefined ? null : drawStudyOrder(condition, words.days, seed, words.blind === true);
  if (json) return `${JSON.stringify({ plans, order: drawn && { seed, conditions: condition, ...drawn } }, null, 2)}\n`;
  const lines = plans.flatMap((plan) =>
    planInWords(plan, options).flatMap((sentence) => wrapText(sentence, width, '  ')),
  );
  if (drawn !== null && condition !== undefined) {
    if (lines.length > 0) lines.push('');
    const named = drawn.labels.length > 0 ? drawn.labels : condition;
    lines.push(
      ...wrapText(
        `Order, drawn with the seed ${seed}: each condition comes in each place equally often, so that tiring falls on all of them alike.`,
        width,
        '  ',
      ),
    );
    for (const [day, row] of drawn.order.entries()) {
      lines.push(`day ${day + 1}: ${row.map((i) => named[i]).join(', ')}`);
    }
    if (drawn.labels.length > 0) {
      lines.push(
        '',
        ...wrapText(
          `For whoever does not shoot: ${drawn.labels.map((letter, i) => `${letter} is ${condition[i]}`).join(', ')}.`,
          width,
          '  ',
        ),
      );
    }
  }
  return `${lines.join('\n')}\n`;
}

async function analyse(file: string | undefined, words: AnalyseWords, surroundings: Surroundings): Promise<void> {
  const { sets, measures, margins, seed } = await comparedSets({ ...words, file }, surroundings);
  const result = analyzeStudy(sets, { margins, measures, random: seededSource(seed) });
  const document = resultDocument(result, margins);
  surroundings.stdout.write(
    words.json ? `${JSON.stringify(document, null, 2)}\n` : studyText(document, surroundings.widthColumns),
  );
}

function percents(text: string): readonly number[] {
  const values = text
    .split(/[,\s]+/)
    .filter((part) => part !== '')
    .map(Number);
  if (values.length !== 2 || !values.every((value) => value > 0 && value < 100) || values[0] === values[1]) {
    throw new InvalidArgumentError('Expected two different percentages between 0 and 100, such as 44,42.');
  }
  return values;
}
