/** Players, sessions and places of the proof of the coaching loop. */
import { type BandedMeasure, type Bands, bandsFor } from '../../src/coaching/bands.ts';
import { bestSetsOf } from '../../src/coaching/best-sets.ts';
import type { FaultName } from '../../src/coaching/fault-names.ts';
import { ruleOf, type SensorPlace } from '../../src/coaching/fault-rules.ts';
import { deriveWatch, initialWatch, stepWatch } from '../../src/coaching/fault-watch.ts';
import type { SpinReference } from '../../src/shots/wrist/backspin.ts';
import { type SessionShot, sessionWith } from './fault-habits.ts';
import { faultStrengths } from './fault-strengths.ts';
import type { MountPlace, ShooterSession } from './play-shooter.ts';
import type { SeenSession } from './seen-session.ts';

/** Sensors that a player shoots with: in the ball, at one place of the arm, and both. */
export const seers = ['ball', 'wrist', 'both'] as const;
export type Seer = (typeof seers)[number];

export const withinShots = 15;
/** A change over fifty shots cannot show in fifteen. */
export const driftShots = 50;
export const cleanShots = 50;
const bestSetShots = 20;
const distanceM = 4.6;

/** What is built in as tiring is a flatter launch, which moves no arm: a sensor there has nothing to see. */
const onlyInBall: readonly FaultName[] = ['tired-drift'];

/**
 * Strengths that no motion reaches. The path of a wrist off its best upright plane, RMS over its length, comes to 0.118 at most, for four fifths
 * of a circle that lie flat (an arc of angle 2a and radius r: spread along its axis r² (1/2 + sin 2a / 4a - sin² a / a²) over the
 * length 2ar, largest at a = 2.55), and to less for a hand that also rises. A clean shot has 0.015 to 0.03 already, so that 0.12 more is none,
 * and 0.08 more an arc without a rise. Even 0.05 more is a hand that goes 21 to 28 degrees upward on average.
 */
export const isBuildable = (fault: FaultName, strength: number) => fault !== 'off-line-push' || strength === 0;

export interface LoopPlayer {
  readonly name: string;
  readonly seed: string;
  readonly place: MountPlace;
  readonly side: 1 | -1;
}

/** What is known of a player before: bands by sensor from the best sets, reference shots for the arm's backspin. */
export interface Known {
  readonly bands: Readonly<Record<Seer, Bands>>;
  readonly references: readonly SpinReference[];
}

export function drawPlayers(count: number, seed: (label: string) => number): LoopPlayer[] {
  return Array.from({ length: count }, (_, i) => {
    const drawn = seed(`player ${i}`);
    return {
      name: `player ${i}`,
      seed: `player ${drawn}`,
      place: i % 2 === 0 ? 'wrist-forearm' : 'back-of-hand',
      side: drawn % 2 === 0 ? 1 : -1,
    };
  });
}

export function sessionOf(
  player: LoopPlayer,
  name: string,
  shots: readonly SessionShot[],
  sensors: ShooterSession['sensors'],
  spinReferences: readonly SpinReference[] = [],
): ShooterSession {
  return {
    ...{ playerSeed: player.seed, sessionSeed: `${player.seed} ${name}`, place: player.place, shots, sensors },
    distanceM: shots.every((shot) => shot.distanceM === distanceM) ? distanceM : null,
    spinReferences,
  };
}

/** Two sets of clean shots. */
export function bestSetsFor(player: LoopPlayer): readonly ShooterSession[] {
  return [1, 2].map((set) =>
    sessionOf(player, `best set ${set}`, sessionWith(null, 0, bestSetShots, player.side), 'ball and wrist'),
  );
}

/** The best sets give the bands; what both sensors saw of them the reference shots. */
export function learn({ place }: LoopPlayer, sets: readonly SeenSession[]): Known {
  const bands = Object.fromEntries(
    seers.map((seer) => [seer, bandsFor({}, bestSetsOf(sets.map((seen) => seen[seer])))]),
  );
  const references: SpinReference[] = [];
  for (const { measures } of sets.flatMap(({ both }) => both)) {
    const { backspinRps, snapPeakDegps } = measures;
    if (backspinRps.value === null || snapPeakDegps.value === null) continue;
    references.push({
      snapRateRadps: (snapPeakDegps.value * Math.PI) / 180,
      snapRateSdRadps: (snapPeakDegps.standardError * Math.PI) / 180,
      spinRps: backspinRps.value,
      spinSdRps: backspinRps.standardError,
      place: place === 'wrist-forearm' ? 'forearm' : 'back-of-hand',
    });
  }
  return { bands: bands as Known['bands'], references: references.slice(0, 12) };
}

/** A fault at one of its strengths, or null for a clean session. */
export interface LoopSession {
  readonly fault: FaultName | null;
  readonly strength: number;
  readonly session: ShooterSession;
  readonly asked: readonly Seer[];
}

/**
 * Every session of a player besides the best sets. With both sensors wherever one on the arm has something to say, so that each sees
 * what the other tells wrongly; tiring is in the ball alone, and in every second player, since its sessions are the longest.
 */
export function loopSessions(player: LoopPlayer, known: Known, isTired: boolean): LoopSession[] {
  const { references } = known;
  const made = (fault: FaultName | null, strength: number, length: number, asked: readonly Seer[]): LoopSession => {
    const shots = sessionWith(fault, strength, length, player.side);
    const sensors = fault !== null && onlyInBall.includes(fault) ? 'ball' : 'ball and wrist';
    const session = sessionOf(player, `${fault ?? 'clean'} ${strength}`, shots, sensors, references);
    return { fault, strength, session, asked };
  };
  const sessions = [made(null, 0, cleanShots, seers)];
  for (const row of faultStrengths) {
    const fault = row.fault as FaultName;
    const asked = seers.filter((seer) => sees(fault, player, seer));
    if (asked.length === 0 || (fault === 'tired-drift' && !isTired)) continue;
    for (const strength of [0, 1, 2]) {
      if (isBuildable(fault, strength)) sessions.push(made(fault, strength, lengthFor(fault), asked));
    }
  }
  return sessions;
}

export const lengthFor = (fault: FaultName) => (fault === 'tired-drift' ? driftShots : withinShots);

export function placesOf({ place }: LoopPlayer, seer: Seer): readonly SensorPlace[] {
  const arm = place === 'wrist-forearm' ? 'forearm' : 'back-of-hand';
  return seer === 'ball' ? ['ball'] : seer === 'wrist' ? [arm] : ['ball', arm];
}

/** @returns whether the rule says that one of these places can see the fault, and it is built into what is there. */
export function canSee(fault: FaultName, places: readonly SensorPlace[]): boolean {
  const { sensors } = ruleOf(fault);
  return places.some((place) => sensors[place] !== null && (place === 'ball' || !onlyInBall.includes(fault)));
}

function sees(fault: FaultName, player: LoopPlayer, seer: Seer): boolean {
  return canSee(fault, placesOf(player, seer));
}

/**
 * Whether the rule says of one of the sensors that it sees a fault of this size: not where it says that the sensor sees it seldom, or within
 * other changes of the player's own level, or that it finds no shot there. What is not claimed is counted beside.
 *
 * The size is what the simulator's truth holds: a drop meant to be deeper than the ball was high is none.
 */
export function claims(fault: FaultName, strength: number, places: readonly SensorPlace[], built: Built): boolean {
  const rule = ruleOf(fault);
  const size = faultStrengths.find((one) => one.fault === fault)!.strengths[strength]!;
  return places.some((place) => {
    if (!canSee(fault, [place]) || rule.seldom?.includes(place)) return false;
    if (size < (rule.noShotBelow?.[place] ?? 0)) return false;
    const change = built[place === 'ball' ? 'ball' : 'wrist'] ?? size;
    const beside = places.includes('ball') ? rule.fromBesideBall?.[place] : undefined;
    return change >= (beside ?? rule.from?.[place] ?? 0) && change <= (rule.upTo?.[place] ?? Number.POSITIVE_INFINITY);
  });
}

/** Change of a rule's first measure that was truly built in, by ball and by wrist; null where the truth holds none. */
export interface Built {
  readonly ball: number | null;
  readonly wrist: number | null;
}

/**
 * Of a level: away from the player's own from the same start, in the middle of all shots. Of a contrast: between the middles of the two
 * groups, different starts put on one level where the group is not of starts.
 */
export function builtSize(fault: FaultName, best: readonly PlayedSession[], played: PlayedSession): Built {
  const [part] = ruleOf(fault).parts;
  if (part === undefined || part.kind === 'drift') return { ball: null, wrist: null };
  const by = (place: 'ball' | 'wrist'): number | null => {
    const own = new Map(starts.map((start) => [start, middle(valuesOf(best, place, part.measure, start))]));
    const moved = played.shots.flatMap(({ start, distanceM: farM }, i) => {
      const value = played.seen.truth[place][i]?.[part.measure];
      const level = own.get(start) ?? null;
      if (value === undefined || level === null) return [];
      return [
        {
          change: value - level,
          isIn: part.kind === 'contrast' && (part.group === 'far' ? farM > 6 : start === 'hold'),
        },
      ];
    });
    if (moved.length < played.shots.length / 2) return null;
    const changes = (list: typeof moved) => list.map(({ change }) => change);
    if (part.kind === 'level') return Math.abs(middle(changes(moved)) ?? 0);
    const [inside, outside] = [true, false].map((isIn) => middle(changes(moved.filter((one) => one.isIn === isIn))));
    return inside == null || outside == null ? null : Math.abs(inside - outside);
  };
  return { ball: by('ball'), wrist: by('wrist') };
}

export interface PlayedSession {
  readonly shots: readonly SessionShot[];
  readonly seen: SeenSession;
}

const starts = ['dribble', 'catch', 'hold'] as const;

function valuesOf(
  sessions: readonly PlayedSession[],
  place: 'ball' | 'wrist',
  measure: BandedMeasure,
  start: SessionShot['start'],
): number[] {
  return sessions.flatMap(({ shots, seen }) =>
    seen.truth[place].flatMap((truth, i) => {
      const value = truth[measure];
      return value === undefined || shots[i]?.start !== start ? [] : [value];
    }),
  );
}

/** @returns the value in the middle, null without any. */
export function middle(values: readonly number[]): number | null {
  return [...values].sort((a, b) => a - b)[Math.floor((values.length - 1) / 2)] ?? null;
}

/** What the watch named in a session. */
export interface Named {
  /** Shot of the session at which each fault was named. */
  readonly atShot: Readonly<Partial<Record<FaultName, number>>>;
  /** Shots that the sensor found. */
  readonly found: number;
}

/** Leads what one sensor saw of a session through the watch. A shot that was not found counts as shot. */
export function watchSession(bands: Bands, shots: readonly SessionShot[], seen: SeenSession[Seer]): Named {
  const watch = deriveWatch(bands, null);
  let state = initialWatch;
  const atShot: Partial<Record<FaultName, number>> = {};
  for (const shot of seen) {
    const distanceM = shot.act === null ? null : (shots[shot.act]?.distanceM ?? null);
    state = stepWatch(watch, state, { shot, distanceM });
    for (const name of Object.keys(state.namedAtShot) as FaultName[])
      atShot[name] ??= (shot.act ?? state.shots - 1) + 1;
  }
  return { atShot, found: seen.length };
}
