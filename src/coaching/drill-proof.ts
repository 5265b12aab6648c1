import { resolveParams } from '../foundation/parameters.ts';
import { mean, standardDeviation } from '../study/descriptive.ts';
import { minimalDetectableChange } from '../study/intraclass-correlation.ts';
import {
  type DayLevel,
  halfWidth,
  type LevelChange,
  levelChange,
  levelOfDay,
  lookDays,
  rateOfLook,
} from '../study/level-change.ts';
import { studentTwoSided } from '../study/student-t.ts';
import { type ProofParams, proofParams } from './proof-params.ts';

export const blockRoles = ['screening', 'baseline', 'drill', 'retest', 'retention'] as const;
export type BlockRole = (typeof blockRoles)[number];

/** A set of shots inside a proof, with the numbers of the one measure that is to move. */
export interface ProofBlock {
  /** Number of the day, counted on; two blocks of one day have the same. */
  readonly day: number;
  readonly role: BlockRole;
  /** Values of the measure as far as they were measured, in its unit, and their standard errors. */
  readonly values: readonly number[];
  readonly standardErrors: readonly number[];
  /** Shots of the block, measured or not. */
  readonly shots: number;
  /** What must be the same to compare: sensor and its place, kind of start, spot. */
  readonly sensor: string;
  readonly condition: string;
}

/** What is to be proved. */
export interface ProofQuestion {
  /** Side on which the fault lies: 1 where too much of the measure is the fault, -1 where too little. */
  readonly faultSide: 1 | -1;
  /** Smallest change that matters, in the measure's unit. */
  readonly smallestChange: number;
  /** Day on which the fault was named: what was shot until then chose this player and is no baseline. */
  readonly namedOnDay: number;
}

export const verdicts = ['changed', 'not-changed', 'worse', 'not-enough'] as const;
export type Verdict = (typeof verdicts)[number];

/** Why a block or a proof does not count yet. */
export const proofNotes = {
  'baseline-missing': 'days of baseline are missing: the level before the drill has to be known over several days',
  'baseline-too-few': 'the drill began before there were enough days of baseline',
  'retest-missing': 'days of re-test are missing',
  'drill-missing': 'no drill block lies between baseline and re-test',
  'block-open': 'the block that is being shot counts when it is complete',
  'block-unmeasured': 'a block was left out because the measure is missing in too many of its shots',
  'block-too-early':
    'a baseline on or before the day on which the fault was named was left out: a player chosen for bad shots gets better by chance alone',
  'block-after-drill': 'a baseline after the first drill was left out',
  'other-sensor':
    'blocks of another sensor, or of the same one at another place, were left out: their difference is not a change of the player',
  'other-condition': 'blocks of another spot or start were left out',
} as const;
export type ProofNote = keyof typeof proofNotes;

export interface DrillVerdict {
  readonly verdict: Verdict;
  /** Change of the measure, re-test less baseline, in its unit, at the last look, with its interval; null before the first. */
  readonly change: number | null;
  readonly interval: readonly [number, number] | null;
  /** Whether the interval lies beyond the smallest change that matters (`yes`), within it (`no`), or neither. */
  readonly matters: 'yes' | 'no' | 'open';
  readonly looks: number;
  /** Re-test days until the next look, null where the verdict has fallen or no look is left. */
  readonly daysToNextLook: number | null;
  /** Look at which the verdict fell, null while it is open. A verdict once given is not taken back. */
  readonly decidedAtLook: number | null;
  readonly baselineDays: number;
  readonly retestDays: number;
  /** Spread from day to day and from shot to shot, and the sensor's own error of a shot, in the measure's unit. */
  readonly daySd: number | null;
  readonly shotSd: number | null;
  readonly sensorError: number | null;
  /** Least change between two single days that the days' own spread exceeds in 5 of 100 pairs. */
  readonly minimalDetectableChange95: number | null;
  readonly notes: readonly ProofNote[];
}

/**
 * Judges a drill: baseline days, drill, re-test days.
 *
 * - Days are the data, never shots: what differs from day to day cannot be shot away (`levelChange`).
 * - Baseline starts after the day on which the fault was named, so that a player chosen for bad shots is not proved by regression to
 *   the mean; its number of days is fixed beforehand.
 * - Looks are planned, after complete re-test days alone, and share one error rate (`lookShares`): looking after every shot, or going
 *   on for as long as one likes, adds no false alarm.
 * - "Changed" and "worse" need the interval to lie beyond what time alone may bring (`driftShare`); "not changed" needs it to lie
 *   within the smallest change that matters. All else is "not enough".
 *
 * It tells that the level moved between two stretches of weeks by more than chance; that it was the drill and nothing else in
 * these weeks it cannot tell.
 *
 * @param blocks in the order in which they were shot.
 */
export function judgeDrill(
  question: ProofQuestion,
  blocks: readonly ProofBlock[],
  given: { readonly [Name in keyof typeof proofParams]?: number } = {},
  rolesAfter: 'retest' | 'retention' = 'retest',
): DrillVerdict {
  const params = resolveParams(proofParams, given);
  const notes = new Set<ProofNote>();
  const { before, after } = sortDays(question, blocks, params, rolesAfter, notes);
  const beforeLevels = before.map((day) => day.level);
  const afterLevels = after.map((day) => day.level);
  const own = [...before, ...after];
  const open = {
    baselineDays: before.length,
    retestDays: after.length,
    shotSd: own.length > 0 ? Math.sqrt(mean(own.map(({ shotSd }) => shotSd ** 2))) : null,
    sensorError: own.length > 0 ? Math.sqrt(mean(own.map(({ sensorError }) => sensorError ** 2))) : null,
  };
  const begun = blocks.some(({ role }) => role === 'drill');
  if (before.length < params.baselineDays) notes.add(begun ? 'baseline-too-few' : 'baseline-missing');
  if (after.length < params.retestDays) notes.add('retest-missing');
  if (before.length < params.baselineDays || after.length < params.retestDays) {
    return Object.freeze({
      ...open,
      verdict: 'not-enough',
      change: null,
      interval: null,
      matters: 'open',
      looks: 0,
      daysToNextLook: Math.max(0, params.retestDays - after.length),
      decidedAtLook: null,
      daySd: null,
      minimalDetectableChange95: null,
      notes: [...notes],
    });
  }
  const plan = lookDays(params.retestDays);
  const looks = plan.filter((days) => days <= after.length).length;
  let verdict: Verdict = 'not-enough';
  let decidedAtLook: number | null = null;
  let latest: LevelChange | null = null;
  for (let look = 1; look <= looks; look++) {
    latest = levelChange(beforeLevels, afterLevels.slice(0, plan[look - 1]), params.dayCorrelation);
    if (decidedAtLook !== null) continue;
    verdict = decide(question, latest, look, params);
    if (verdict !== 'not-enough') decidedAtLook = look;
  }
  const { change, daySd } = latest!;
  const half = halfWidth(latest!, params.alpha, looks);
  const least = Math.abs(change) - half;
  const most = Math.abs(change) + half;
  const { smallestChange } = question;
  return Object.freeze({
    ...open,
    verdict,
    change,
    interval: [change - half, change + half] as const,
    matters: least >= smallestChange ? 'yes' : most <= smallestChange ? 'no' : 'open',
    looks,
    daysToNextLook: decidedAtLook === null && looks < plan.length ? plan[looks]! - after.length : null,
    decidedAtLook,
    daySd,
    minimalDetectableChange95: minimalDetectableChange(daySd),
    notes: [...notes],
  });
}

function decide(question: ProofQuestion, latest: LevelChange, look: number, params: ProofParams): Verdict {
  const { faultSide, smallestChange } = question;
  const { standardError, df } = latest;
  const rate = rateOfLook(params.alpha, look);
  // Better is away from the side on which the fault lies.
  const gain = -faultSide * latest.change;
  const byTime = params.driftShare * smallestChange;
  const beyond = (by: number, tail: number) => by > 0 && studentTwoSided(by / standardError, df) / 2 < tail;
  if (beyond(gain - byTime, rate / 2)) return 'changed';
  if (beyond(-gain - byTime, rate / 2)) return 'worse';
  // Two one-sided tests: each may miss with the whole rate, since both have to succeed.
  return beyond(smallestChange - Math.abs(gain), rate) ? 'not-changed' : 'not-enough';
}

/**
 * Further re-test days until the planned look at which the change as it stands, with the spread as it stands, would be told.
 *
 * @returns 0 where the verdict has fallen, null where the first look has not come yet or none of those left would do.
 */
export function furtherDaysFor(
  question: ProofQuestion,
  blocks: readonly ProofBlock[],
  given: { readonly [Name in keyof typeof proofParams]?: number } = {},
): number | null {
  const params = resolveParams(proofParams, given);
  const { change, daySd, looks, decidedAtLook } = judgeDrill(question, blocks, given);
  if (decidedAtLook !== null) return 0;
  if (change === null || daySd === null) return null;
  const days = sortDays(question, blocks, params, 'retest', new Set());
  const before = days.before.map(({ level }) => level);
  const longer = days.after.map(({ level }) => level);
  const have = longer.length;
  const plan = lookDays(params.retestDays);
  for (let look = looks + 1; look <= plan.length; look++) {
    while (longer.length < plan[look - 1]!) longer.push({ ...longer.at(-1)!, place: longer.at(-1)!.place + 1 });
    const planned = levelChange(before, longer, params.dayCorrelation);
    const standardError = (planned.standardError * daySd) / Math.max(planned.daySd, Number.MIN_VALUE);
    if (decide(question, { ...planned, change, standardError }, look, params) !== 'not-enough')
      return longer.length - have;
  }
  return null;
}

interface DayOfProof {
  readonly level: DayLevel;
  readonly shotSd: number;
  readonly sensorError: number;
}

function sortDays(
  question: ProofQuestion,
  blocks: readonly ProofBlock[],
  params: ProofParams,
  rolesAfter: 'retest' | 'retention',
  notes: Set<ProofNote>,
): { before: DayOfProof[]; after: DayOfProof[] } {
  const days = [...new Set(blocks.map(({ day }) => day))].sort((a, b) => a - b);
  const firstDrill = blocks.find(({ role }) => role === 'drill')?.day ?? null;
  if (firstDrill === null && blocks.some(({ role }) => role === rolesAfter)) notes.add('drill-missing');
  const reference = blocks.find(({ role, day }) => role === 'baseline' && day > question.namedOnDay) ?? null;
  const collect = (role: BlockRole): DayOfProof[] => {
    const found: DayOfProof[] = [];
    for (const day of days) {
      const usable = blocks.filter((block) => {
        if (block.day !== day || block.role !== role) return false;
        const note = whyNot(block, question, params, reference, firstDrill);
        if (note !== null) notes.add(note);
        return note === null;
      });
      if (usable.length === 0) continue;
      const values = usable.flatMap((block) => block.values);
      const errors = usable.flatMap((block) => block.standardErrors);
      found.push({
        level: levelOfDay(values, days.indexOf(day), params.serialCorrelation),
        shotSd: standardDeviation(values),
        sensorError: Math.sqrt(mean(errors.map((error) => error * error))),
      });
    }
    return found;
  };
  return {
    before: collect('baseline').slice(0, params.baselineDays),
    after: firstDrill === null ? [] : collect(rolesAfter),
  };
}

function whyNot(
  block: ProofBlock,
  question: ProofQuestion,
  params: ProofParams,
  reference: ProofBlock | null,
  firstDrill: number | null,
): ProofNote | null {
  if (block.role === 'baseline' && block.day <= question.namedOnDay) return 'block-too-early';
  if (block.role === 'baseline' && firstDrill !== null && block.day > firstDrill) return 'block-after-drill';
  if (reference !== null && block.sensor !== reference.sensor) return 'other-sensor';
  if (reference !== null && block.condition !== reference.condition) return 'other-condition';
  if (block.shots < params.shotsPerBlock) return 'block-open';
  return block.values.length < params.leastMeasuredShare * block.shots ? 'block-unmeasured' : null;
}
