import { type Bands, bandsFor } from '../../src/coaching/bands.ts';
import { bestSetsOf } from '../../src/coaching/best-sets.ts';
import { judgeDrill, type ProofBlock, type Verdict } from '../../src/coaching/drill-proof.ts';
import { drillLibrary } from '../../src/coaching/drills.ts';
import type { FaultName } from '../../src/coaching/fault-names.ts';
import { ruleOf, type SensorPlace } from '../../src/coaching/fault-rules.ts';
import { deriveWatch, initialWatch, stepWatch } from '../../src/coaching/fault-watch.ts';
import type { SpinReference } from '../../src/shots/wrist/backspin.ts';
import type { ShotHabit } from '../../src/simulate/arm/steady-shooter.ts';
import { Random } from '../../src/simulate/random.ts';
import { CellStore } from '../helpers/cell-store.ts';
import { type SessionShot, sessionWith } from '../helpers/fault-habits.ts';
import { faultStrengths } from '../helpers/fault-strengths.ts';
import { type MountPlace, playShooter, type SeenShots, type ShooterSession } from '../helpers/play-shooter.ts';
import { type Goal, goal, type ProofContext, type ProofFigures } from './proof.ts';

/** Sensors that a player shoots with: in the ball, at one place of the arm, and both. */
const seers = ['ball', 'wrist', 'both'] as const;
type Seer = (typeof seers)[number];

const withinShots = 15;
const cleanShots = 50;
/** A change over fifty shots cannot show in fifteen. */
const driftShots = 50;
const bestSetShots = 14;
const distanceM = 4.6;

/**
 * Strengths that no motion reaches. The path of a wrist off its best upright plane, RMS over its length, comes to 0.118 at most, for four fifths
 * of a circle that lie flat (an arc of angle 2a and radius r: spread along its axis r² (1/2 + sin 2a / 4a - sin² a / a²) over the
 * length 2ar, largest at a = 2.55), and to less for a hand that also rises. A clean shot has 0.015 to 0.03 already, so that 0.12 more is none,
 * and 0.08 more an arc without a rise. Even 0.05 more is a hand that goes 21 to 28 degrees upward on average.
 */
const notBuildable = (fault: string, strength: number) => fault === 'off-line-push' && strength > 0;

interface Named {
  /** Shot at which the fault was named, null where it was not, and the others that were named by then. */
  readonly at: number | null;
  readonly others: readonly FaultName[];
  readonly shots: number;
}

/** How often a fault of one strength was named, of all, and of those that the rule claims this sensor to see. */
interface Cell {
  found: number;
  of: number;
  claimed: number;
  foundOfClaimed: number;
  readonly atShot: number[];
  readonly others: Map<string, number>;
}

interface Player {
  readonly name: string;
  readonly seed: string;
  readonly place: MountPlace;
  readonly side: 1 | -1;
}

/** What is known of a player before: bands by sensor from the best sets, reference shots for the arm's backspin. */
interface Known {
  readonly bands: Readonly<Record<Seer, Bands>>;
  readonly references: readonly SpinReference[];
}

/**
 * The loop from end to end: a simulated shooter with a fault built in as motion, sensors in ball and on the arm, their notifications
 * through the whole analysis, the watch for faults over what came out. Bands are the player's own, of two sets of clean shots. Cells
 * that are done are kept in the folder for temporary files, so that a proof that was stopped goes on.
 */
export async function prove({ seed, scale, say }: ProofContext): Promise<ProofFigures> {
  const cells = new CellStore('coaching-loop');
  const count = Math.max(1, Math.round(4 * scale));
  const players = Array.from({ length: count }, (_, i): Player => {
    const drawn = seed(`player ${i}`);
    return {
      name: `player ${i}`,
      seed: `player ${drawn}`,
      place: i % 2 === 0 ? 'wrist-forearm' : 'back-of-hand',
      side: drawn % 2 === 0 ? 1 : -1,
    };
  });
  const goals: Goal[] = [];
  const rows: Record<string, unknown>[] = [];
  const tally = new Map<string, Cell>();
  let cleanNamed = 0;
  let cleanSessions = 0;
  const cleanList: string[] = [];
  for (const player of players) {
    const known = await cells.get(`${player.seed} known`, () => learn(player));
    const clean = await cells.get(`${player.seed} clean`, () =>
      watchSession(player, known, null, 0, cleanShots, [...seers]),
    );
    for (const seer of seers) {
      cleanSessions++;
      const named = clean[seer]?.others ?? [];
      if (named.length > 0) cleanNamed++;
      for (const fault of named) cleanList.push(`${player.name}, ${placeWord(player, seer)}: ${fault}`);
    }
    say(`${player.name}: clean ${JSON.stringify(clean)}`);
    for (const { fault } of faultStrengths) {
      for (const strength of [0, 1, 2]) {
        if (notBuildable(fault, strength)) continue;
        // The longest sessions, and seen by the ball alone: half the players are enough.
        if (fault === 'tired-drift' && players.indexOf(player) % 2 === 1 && count > 1) continue;
        const asked = seers.filter((seer) => sees(fault as FaultName, player, seer));
        const length = fault === 'tired-drift' ? driftShots : withinShots;
        const named = await cells.get(`${player.seed} ${fault} ${strength}`, () =>
          watchSession(player, known, fault as FaultName, strength, length, asked),
        );
        say(`${player.name}: ${fault} ${strength} ${JSON.stringify(named)}`);
        for (const seer of asked) {
          const key = `${fault}|${strength}|${placeWord(player, seer)}`;
          const cell: Cell = tally.get(key) ?? {
            found: 0,
            of: 0,
            claimed: 0,
            foundOfClaimed: 0,
            atShot: [],
            others: new Map(),
          };
          const { at = null, others = [] } = named[seer] ?? {};
          cell.of++;
          if (at !== null) cell.found++;
          if (claims(fault as FaultName, strength, player, seer, known)) {
            cell.claimed++;
            if (at !== null) cell.foundOfClaimed++;
          }
          if (at !== null) cell.atShot.push(at);
          for (const other of others) cell.others.set(other, (cell.others.get(other) ?? 0) + 1);
          tally.set(key, cell);
        }
      }
    }
  }
  const places = ['ball', 'forearm', 'back-of-hand', 'ball and forearm', 'ball and back-of-hand'];
  for (const { fault, strengths, unit } of faultStrengths) {
    for (const place of places) {
      const parts = place.split(' and ') as SensorPlace[];
      if (parts.every((part) => ruleOf(fault as FaultName).sensors[part] === null)) {
        rows.push({ fault, place, seen: 'no: this sensor cannot see it' });
        continue;
      }
      if (onlyInBall.includes(fault) && !parts.includes('ball')) {
        rows.push({ fault, place, seen: 'not built into what this sensor could see' });
        continue;
      }
      // Of what the rule claims that this sensor sees.
      let [found, of] = [0, 0];
      for (const strength of [0, 1, 2]) {
        const cell = tally.get(`${fault}|${strength}|${place}`);
        const size = `${strengths[strength]} ${unit}`;
        if (notBuildable(fault, strength)) rows.push({ fault, place, size, seen: 'not built: no motion reaches it' });
        if (!cell) continue;
        found += cell.foundOfClaimed;
        of += cell.claimed;
        rows.push({
          ...{ fault, place, size, named: cell.found, of: cell.of, claimed: cell.claimed, atShot: cell.atShot },
          alsoNamed: Object.fromEntries(cell.others),
        });
      }
      const within = fault === 'tired-drift' ? driftShots : withinShots;
      if (of > 0) goals.push(goal(`${fault}, ${place}: named within ${within} shots`, found / of, { atLeast: 0.9 }));
    }
  }
  goals.push(
    goal(`clean sessions of ${cleanShots} shots without a named fault`, 1 - cleanNamed / cleanSessions, {
      atLeast: 0.95,
    }),
  );
  const drills = await proveDrills(players, cells, scale, say);
  goals.push(...drills.goals);
  return {
    goals,
    players: count,
    rows,
    clean: { sessions: cleanSessions, withNamedFault: cleanNamed, named: cleanList },
    drills: drills.figures,
    conditions:
      'grown players, 200 Hz, usual noise, bias and losses; starts off a dribble and a chest pass from the ring, one in five from a hold where nothing is built in; bands from two sets of 14 clean shots; distance told, height of release told to 0.1 m; above the wrist shown to and fro first',
  };
}

/** What is built in as tiring is a flatter launch, which moves no arm: a sensor there has nothing to see. */
const onlyInBall: readonly string[] = ['tired-drift'];

function sees(fault: FaultName, { place }: Player, seer: Seer): boolean {
  const { sensors } = ruleOf(fault);
  if (onlyInBall.includes(fault) && seer === 'wrist') return false;
  const arm = sensors[place === 'wrist-forearm' ? 'forearm' : 'back-of-hand'] !== null;
  return seer === 'ball' ? sensors.ball !== null : seer === 'wrist' ? arm : arm || sensors.ball !== null;
}

/**
 * Whether the rule says of one of the sensors that it sees a fault of this strength: not where it says that the sensor sees it seldom, or from
 * a larger change of the player's own level on, or that it finds no shot there. What is not claimed is counted beside.
 */
function claims(fault: FaultName, strength: number, player: Player, seer: Seer, known: Known): boolean {
  const rule = ruleOf(fault);
  const row = faultStrengths.find((one) => one.fault === fault)!;
  const size = row.strengths[strength]!;
  const { measure } = rule.parts[0]!;
  const arm = player.place === 'wrist-forearm' ? 'forearm' : 'back-of-hand';
  const places: readonly SensorPlace[] = seer === 'ball' ? ['ball'] : seer === 'wrist' ? [arm] : ['ball', arm];
  return places.some((place) => {
    if (rule.sensors[place] === null || rule.seldom?.includes(place)) return false;
    if (place !== 'ball' && onlyInBall.includes(fault)) return false;
    if (size < (rule.noShotBelow?.[place] ?? 0)) return false;
    const { levels, target } = known.bands[place === 'ball' ? 'ball' : 'wrist'][measure];
    const own = Math.abs(levels?.catch ?? target ?? 0);
    return (row.how === 'added' ? size : Math.abs(size - own)) >= (rule.from?.[place] ?? 0);
  });
}

function placeWord({ place }: Player, seer: Seer): string {
  const arm = place === 'wrist-forearm' ? 'forearm' : 'back-of-hand';
  return seer === 'ball' ? 'ball' : seer === 'wrist' ? arm : `ball and ${arm}`;
}

/** Two sets of clean shots give the bands; what both sensors saw of them the reference shots. */
function learn(player: Player): Known {
  const sets = [1, 2].map((set) =>
    playAll(player, `best set ${set}`, sessionWith(null, 0, bestSetShots, player.side), 'ball and wrist'),
  );
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
      place: player.place === 'wrist-forearm' ? 'forearm' : 'back-of-hand',
    });
  }
  return { bands: bands as Known['bands'], references: references.slice(0, 12) };
}

/** Plays until every sensor asked has named the fault, or all shots are shot. */
function watchSession(
  player: Player,
  known: Known,
  fault: FaultName | null,
  strength: number,
  length: number,
  asked: readonly Seer[],
): Partial<Record<Seer, Named>> {
  const shots = sessionWith(fault, strength, length, player.side);
  const wanted = asked.includes('ball') || fault === null ? 'ball and wrist' : 'wrist';
  // What the ball alone sees is the same in both.
  const onlyBall = fault !== null && !asked.includes('wrist');
  const sensors = onlyBall ? 'ball' : wanted;
  const result: Partial<Record<Seer, Named>> = {};
  const watches = asked.map((seer) => {
    const watch = deriveWatch(known.bands[seer], null);
    return { seer, watch, state: initialWatch, taken: 0 };
  });
  const session = sessionOf(player, `${fault ?? 'clean'} ${strength}`, shots, sensors, known.references);
  for (const seen of playShooter(session)) {
    for (const one of watches) {
      const own =
        one.seer === 'both' ? (onlyBall ? seen.ball : sensors === 'wrist' ? seen.wrist : seen.both) : seen[one.seer];
      for (; one.taken < own.length; one.taken++) {
        if (result[one.seer]?.at != null) break;
        const watched = { shot: own[one.taken]!, distanceM: shots[one.taken]?.distanceM ?? null };
        one.state = stepWatch(one.watch, one.state, watched);
        const named = Object.keys(one.state.namedAtShot) as FaultName[];
        result[one.seer] = {
          at: fault === null ? null : (one.state.namedAtShot[fault] ?? null),
          others: named.filter((name) => name !== fault),
          shots: one.taken + 1,
        };
      }
    }
    if (fault !== null && asked.every((seer) => result[seer]?.at != null)) break;
  }
  return result;
}

function sessionOf(
  player: Player,
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

function playAll(
  player: Player,
  name: string,
  shots: readonly SessionShot[],
  sensors: ShooterSession['sensors'],
): SeenShots {
  let last: SeenShots = { ball: [], wrist: [], both: [] };
  for (const seen of playShooter(sessionOf(player, name, shots, sensors))) last = seen;
  return last;
}

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

async function proveDrills(players: readonly Player[], cells: CellStore, scale: number, say: (line: string) => void) {
  const figures: Record<string, unknown>[] = [];
  const goals: Goal[] = [];
  for (const test of drillCases) {
    const { moves } = drillLibrary.find(({ name }) => name === test.drill)!;
    const counted = { works: [] as Verdict[], idle: [] as Verdict[] };
    const able = players.filter(({ place }) => test.sensors === 'ball' || place === 'wrist-forearm').slice(0, 2);
    for (const player of able) {
      const random = new Random(`${player.seed} ${test.drill}`);
      const faultSide = test.faultSide(player.side);
      const play = async (role: 'baseline' | 'retest', day: number, habit: ShotHabit, kind: string) => {
        const [[measure, size]] = Object.entries(test.day(random.normal(0, 0.8))) as [[keyof ShotHabit, number]];
        const daily = { ...habit, [measure]: (habit[measure] ?? 0) + size };
        return cells.get(`${player.seed} ${test.drill} ${kind} ${day}`, (): ProofBlock => {
          const shots = Array.from({ length: blockShots }, (_, i): SessionShot => {
            return { habit: daily, start: i % 2 === 0 ? 'dribble' : 'catch', distanceM };
          });
          const seen = playAll(player, `${test.drill} ${kind} ${day}`, shots, test.sensors)[test.sensors];
          const given = seen.map(({ measures }) => measures[moves.measure]).filter(({ value }) => value !== null);
          return {
            ...{ day, role, shots: seen.length, sensor: test.sensors, condition: 'near' },
            values: given.map(({ value }) => value!),
            standardErrors: given.map((one) => (one.value === null ? 0 : one.standardError)),
          };
        });
      };
      const blocks: ProofBlock[] = [];
      for (let day = 1; day <= proofDays.baseline; day++) {
        blocks.push(await play('baseline', day, test.before(player.side), 'before'));
      }
      blocks.push({ ...blocks[0]!, day: 5, role: 'drill' });
      for (const kind of ['works', 'idle'] as const) {
        const after: ProofBlock[] = [];
        for (let day = 6; day < 6 + proofDays.retest; day++) {
          const habit = kind === 'works' ? test.after(player.side) : test.before(player.side);
          after.push(await play('retest', day, habit, kind));
        }
        const question = { faultSide, smallestChange: moves.by, namedOnDay: 0 };
        const judged = judgeDrill(question, [...blocks, ...after]);
        counted[kind].push(judged.verdict);
        figures.push({ drill: test.drill, player: player.name, kind, ...judged });
        say(`${test.drill}, ${player.name}, ${kind}: ${judged.verdict} ${judged.change?.toFixed(2)}`);
      }
    }
    if (counted.works.length === 0) continue;
    const share = (list: readonly Verdict[], verdict: Verdict) =>
      list.filter((one) => one === verdict).length / list.length;
    goals.push(
      goal(`${test.drill}: a drill that works is proved`, share(counted.works, 'changed'), { atLeast: 1 }),
      goal(`${test.drill}: one that does nothing is not`, share(counted.idle, 'changed'), { atMost: 0 }),
    );
    if (scale < 0.1) break;
  }
  return { figures, goals };
}
