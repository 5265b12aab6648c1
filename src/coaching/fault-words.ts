import type { BandedMeasure } from './bands.ts';
import { type FaultRule, ruleOf, type SensorPlace } from './fault-rules.ts';
import type { FaultFinding, PartFinding } from './fault-watch.ts';

/** A finding as a person reads it. */
export interface FaultInWords {
  readonly title: string;
  /** What the sensor saw, a sentence a measure. */
  readonly saw: readonly string[];
  readonly confidence: string;
  /** Sensors worn or in the ball that can tell of it, and what those that are not there could add. */
  readonly seenBy: readonly string[];
  readonly notSeenBy: readonly string[];
  readonly otherExplanations: readonly string[];
}

interface MeasureWords {
  readonly label: string;
  readonly unit: string;
  /** Units a reader is used to for one unit of the measure. */
  readonly scale: number;
  readonly digits: number;
  /** Positive is to the shooter's left: told toward the other hand or away from it. */
  readonly sided?: true;
}

const words: Readonly<Record<BandedMeasure, MeasureWords>> = {
  axisTiltDeg: { label: 'lean of the spin axis', unit: '°', scale: 1, digits: 0, sided: true },
  sidewaysImpulseMps: { label: 'push to the side at release', unit: ' m/s', scale: 1, digits: 2, sided: true },
  forearmElevationDeg: { label: 'forearm above level at release', unit: '°', scale: 1, digits: 0 },
  speedMarginMps: { label: 'speed to spare', unit: ' m/s', scale: 1, digits: 2 },
  entryAngleDeg: { label: 'angle into the ring', unit: '°', scale: 1, digits: 0 },
  backspinRps: { label: 'backspin', unit: ' turns a second', scale: 1, digits: 1 },
  pickupToReleaseS: { label: 'pickup to release', unit: ' s', scale: 1, digits: 2 },
  pauseS: { label: 'stop on the way up', unit: ' s', scale: 1, digits: 2 },
  sidePathM: { label: 'way of the ball to the side', unit: ' cm', scale: 100, digits: 0, sided: true },
  dipDepthM: { label: 'dip', unit: ' cm', scale: 100, digits: 0 },
  followThroughS: { label: 'hand held up', unit: ' s', scale: 1, digits: 2 },
  headingChangeDeg: { label: 'turn in the air', unit: '°', scale: 1, digits: 0, sided: true },
  pathPlanarity: { label: 'way of the hand off its line, of its length', unit: ' %', scale: 100, digits: 1 },
  liftToReleaseS: { label: 'lift to release', unit: ' s', scale: 1, digits: 2 },
  launchAngleDeg: { label: 'launch angle', unit: '°', scale: 1, digits: 1 },
};

const placeWords: Readonly<Record<SensorPlace, string>> = {
  ball: 'in the ball',
  forearm: 'above the wrist',
  'back-of-hand': 'on the back of the hand',
};

/**
 * Puts a finding into words.
 *
 * @param present where sensors sit in this practice; @param shootingHand for sides, which are told toward the other hand or away.
 */
export function describeFault(
  finding: FaultFinding,
  present: readonly SensorPlace[],
  shootingHand: 'left' | 'right',
): FaultInWords {
  const rule = ruleOf(finding.name);
  const places = Object.entries(rule.sensors) as [SensorPlace, string | null][];
  const here = places.filter(([place, text]) => present.includes(place) && text !== null);
  const blind = places.filter(([place, text]) => present.includes(place) && text === null);
  const would = places.filter(([place, text]) => !present.includes(place) && text !== null);
  return Object.freeze({
    title: rule.words,
    saw: finding.parts.flatMap((part) => sawOf(part, shootingHand)),
    confidence: confidenceOf(finding),
    seenBy: here.map(([place, text]) => `The sensor ${placeWords[place]} ${text}${limitOf(rule, place)}.`),
    notSeenBy: [
      ...blind.map(([place]) => `The sensor ${placeWords[place]} cannot see this.`),
      ...would.map(([place, text]) => `A sensor ${placeWords[place]}: ${text}${limitOf(rule, place)}.`),
    ],
    otherExplanations: rule.otherExplanations,
  });
}

/** How much of it a sensor needs to see it, and where it sees it seldom. */
function limitOf({ parts, from, fromBesideBall, upTo, seldom, noShotBelow }: FaultRule, place: SensorPlace): string {
  if (seldom?.includes(place)) return ', but seldom surely enough to name it';
  const told = words[parts[0]!.measure];
  const show = (value: number) => `${(value * told.scale).toFixed(told.digits)}${told.unit}`;
  const [least, lost] = [from?.[place], noShotBelow?.[place]];
  const most = upTo?.[place];
  const beside = fromBesideBall?.[place];
  const withBall = beside === undefined ? '' : `, and about ${show(beside)} beside a sensor in the ball`;
  const until = most === undefined ? '' : `, up to about ${show(most)}`;
  const off = parts[0]!.kind === 'contrast' ? 'apart' : 'off the player’s own';
  if (least !== undefined)
    return `, within 15 shots where it is about ${show(least)} or more ${off}${until}${withBall}`;
  return lost === undefined ? '' : `; below about ${show(lost)} it often takes it for no shot`;
}

function confidenceOf({ named, evidence, border, parts, namedAtShot }: FaultFinding): string {
  const shots = Math.max(...parts.map((part) => part.shots));
  if (named) {
    return `Clear since shot ${namedAtShot}: of 100 practices of players without any fault at most 5 would be told one.`;
  }
  if (evidence >= Math.sqrt(border)) return `Signs of it in ${shots} shots, too few to say so.`;
  return `Nothing to say after ${shots} shots.`;
}

function sawOf(found: PartFinding, hand: 'left' | 'right'): string[] {
  const { part, estimate, interval95, shots, low, high, evened } = found;
  if (estimate === null) return [];
  const told = words[part.measure];
  const show = (value: number) =>
    `${(value * told.scale)
      .toFixed(told.digits)
      .replace(/^-(0(\.0*)?)$/, '$1')
      .replace('-', '−')}${told.unit}`;
  const side = told.sided === true && part.kind === 'level' ? sideOf(estimate, hand) : '';
  const size = side === '' ? estimate : Math.abs(estimate);
  const range = interval95 === null ? 'not sure yet' : rangeOf(interval95, side === '' ? 1 : Math.sign(estimate), show);
  const edge =
    low !== null && high !== null
      ? `up to ${show(high)}${side === '' ? ' either way' : ' to either side'} is left alone`
      : high !== null
        ? `up to ${show(high)} is left alone`
        : `from ${show(low!)} on is left alone`;
  const what =
    part.kind === 'level'
      ? `${told.label}: ${show(size)}${side} on average of ${shots} shots${evened ? ', different starts evened out' : ''}`
      : part.kind === 'drift'
        ? `${told.label}: ${signed(estimate, show)} over 50 shots, seen in ${shots}`
        : `${told.label}: ${signed(estimate, show)} ${part.group === 'far' ? 'from far' : 'from a hold'} against the others, ${shots} shots`;
  return [`${what[0]!.toUpperCase()}${what.slice(1)} (${range}); ${edge}.`];
}

function rangeOf([low, high]: readonly [number, number], sign: number, show: (value: number) => string): string {
  const [from, to] = sign < 0 ? [-high, -low] : [low, high];
  return `between ${show(from)} and ${show(to)}`;
}

function signed(value: number, show: (value: number) => string): string {
  return value > 0 ? `+${show(value)}` : show(value);
}

function sideOf(value: number, hand: 'left' | 'right'): string {
  const toOtherHand = value > 0 === (hand === 'right');
  return toOtherHand ? ' toward the other hand' : ' away from the other hand';
}
