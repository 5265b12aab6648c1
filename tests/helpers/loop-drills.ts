/** Drills in the proof of the coaching loop: practices before and after one that works, and after one that does nothing. */
import { judgeDrill, type ProofBlock, type Verdict } from '../../src/coaching/drill-proof.ts';
import { drillLibrary } from '../../src/coaching/drills.ts';
import type { ShotHabit } from '../../src/simulate/arm/steady-shooter.ts';
import { Random } from '../../src/simulate/random.ts';
import type { SessionShot } from './fault-habits.ts';
import { type LoopPlayer, sessionOf } from './loop-players.ts';
import type { ShooterSession } from './play-shooter.ts';
import type { SeenSession } from './seen-session.ts';

/** A drill in the proof: what it should move, the fault as motion before it, and what a drill that works leaves of it. */
interface DrillCase {
  readonly drill: string;
  readonly sensors: 'ball' | 'wrist';
  readonly before: (side: 1 | -1) => ShotHabit;
  readonly after: (side: 1 | -1) => ShotHabit;
  /** Spread of the level from day to day, as a habit. */
  readonly day: (size: number) => ShotHabit;
  readonly faultSide: (side: 1 | -1) => 1 | -1;
}

const drillCases: readonly DrillCase[] = [
  {
    drill: 'two-finger-release',
    sensors: 'ball',
    before: (side) => ({ tiltDeg: side * 15 }),
    after: (side) => ({ tiltDeg: side * 4 }),
    day: (size) => ({ tiltDeg: size }),
    faultSide: (side) => side,
  },
  {
    drill: 'long-arm-snaps',
    sensors: 'wrist',
    before: () => ({ forearmDropDeg: 22 }),
    after: () => ({ forearmDropDeg: 4 }),
    day: (size) => ({ forearmDropDeg: size }),
    faultSide: () => -1,
  },
];

const proofDays = { baseline: 4, retest: 4 };
const blockShots = 15;
/** Days of a kind, and what the player shoots like on them. */
const kinds = [
  { kind: 'before', role: 'baseline', fromDay: 1, days: proofDays.baseline },
  { kind: 'works', role: 'retest', fromDay: proofDays.baseline + 2, days: proofDays.retest },
  { kind: 'idle', role: 'retest', fromDay: proofDays.baseline + 2, days: proofDays.retest },
] as const;

export interface DrillSession {
  readonly test: DrillCase;
  readonly player: LoopPlayer;
  readonly kind: (typeof kinds)[number]['kind'];
  readonly role: 'baseline' | 'retest';
  readonly day: number;
  readonly session: ShooterSession;
}

/** Practices of two players a drill, those whose sensor sees what it moves. */
export function drillSessions(players: readonly LoopPlayer[]): DrillSession[] {
  return drillCases.flatMap((test) => {
    const able = players.filter(({ place }) => test.sensors === 'ball' || place === 'wrist-forearm').slice(0, 2);
    return able.flatMap((player) => {
      const random = new Random(`${player.seed} ${test.drill}`);
      return kinds.flatMap(({ kind, role, fromDay, days }) =>
        Array.from({ length: days }, (_, i): DrillSession => {
          const [[measure, size]] = Object.entries(test.day(random.normal(0, 0.8))) as [[keyof ShotHabit, number]];
          const usual = kind === 'works' ? test.after(player.side) : test.before(player.side);
          const habit = { ...usual, [measure]: (usual[measure] ?? 0) + size };
          const shots = Array.from({ length: blockShots }, (_, shot): SessionShot => {
            return { habit, start: shot % 2 === 0 ? 'dribble' : 'catch', distanceM: 4.6 };
          });
          const day = fromDay + i;
          const session = sessionOf(player, `${test.drill} ${kind} ${day}`, shots, test.sensors);
          return { test, player, kind, role, day, session };
        }),
      );
    });
  });
}

export interface DrillVerdict {
  readonly drill: string;
  readonly player: string;
  readonly kind: 'works' | 'idle';
  readonly verdict: Verdict;
  readonly judged: ReturnType<typeof judgeDrill>;
}

/** Verdicts on the drills whose practices are all there. */
export function judgeDrills(
  sessions: readonly DrillSession[],
  seenOf: (session: ShooterSession) => SeenSession,
): DrillVerdict[] {
  const verdicts: DrillVerdict[] = [];
  const groups = new Map<string, DrillSession[]>();
  for (const one of sessions) {
    const key = `${one.test.drill} ${one.player.name}`;
    groups.set(key, [...(groups.get(key) ?? []), one]);
  }
  for (const group of groups.values()) {
    const { test, player } = group[0]!;
    const { moves } = drillLibrary.find(({ name }) => name === test.drill)!;
    const blocksOf = (kind: DrillSession['kind']) =>
      group.filter((one) => one.kind === kind).map((one) => blockOf(one, moves.measure, seenOf(one.session)));
    const before = blocksOf('before');
    const drilled: ProofBlock = { ...before[0]!, day: proofDays.baseline + 1, role: 'drill' };
    for (const kind of ['works', 'idle'] as const) {
      const question = { faultSide: test.faultSide(player.side), smallestChange: moves.by, namedOnDay: 0 };
      const judged = judgeDrill(question, [...before, drilled, ...blocksOf(kind)]);
      verdicts.push({ drill: test.drill, player: player.name, kind, verdict: judged.verdict, judged });
    }
  }
  return verdicts;
}

type MovedMeasure = (typeof drillLibrary)[number]['moves']['measure'];

function blockOf({ test, role, day }: DrillSession, measure: MovedMeasure, seen: SeenSession): ProofBlock {
  const shots = seen[test.sensors];
  const given = shots.flatMap(({ measures }) => {
    const one = measures[measure];
    return one.value === null ? [] : [one];
  });
  return {
    ...{ day, role, shots: shots.length, sensor: test.sensors, condition: 'near' },
    values: given.map(({ value }) => value),
    standardErrors: given.map(({ standardError }) => standardError),
  };
}
