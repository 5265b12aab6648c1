import { fileURLToPath } from 'node:url';
import type { FaultName } from '../../src/coaching/fault-names.ts';
import type { SensorPlace } from '../../src/coaching/fault-rules.ts';
import { clopperPearsonInterval } from '../../src/study/proportion-interval.ts';
import { CellStore } from '../helpers/cell-store.ts';
import { faultStrengths } from '../helpers/fault-strengths.ts';
import { drillSessions, judgeDrills } from '../helpers/loop-drills.ts';
import * as loop from '../helpers/loop-players.ts';
import type { ShooterSession } from '../helpers/play-shooter.ts';
import { runInProcesses } from '../helpers/process-pool.ts';
import type { SeenSession } from '../helpers/seen-session.ts';
import { type Goal, goal, type ProofContext, type ProofFigures } from './proof.ts';

/** Players of a whole proof, every second with the sensor on the back of the hand. */
const wholePlayers = 8;

/** What the numbers of a session hang on; the rules are not among it, so that a change of rules needs no session anew. */
const sources = [
  ...['src/foundation', 'src/protocol', 'src/signal', 'src/flight', 'src/shots', 'src/live', 'src/simulate'],
  ...['src/server/pairing', 'tests/helpers/play-shooter.ts', 'tests/helpers/seen-session.ts'],
];
const workerFile = fileURLToPath(new URL('../helpers/shooter-worker.ts', import.meta.url));

/** How often a fault of one strength was named by what one place saw. */
interface Cell {
  readonly atShot: number[];
  of: number;
  /** Of those that the rule claims this place to see. */
  claimed: number;
  namedOfClaimed: number;
  /** Change of the rule's first measure that the simulator's truth holds. */
  readonly built: number[];
  readonly others: Map<FaultName, number>;
}

/**
 * The loop from end to end: a simulated shooter with a fault built in as motion, sensors in ball and on the arm, their notifications
 * through the whole analysis, the watch for faults over what came out. Bands are the player's own, of two sets of clean shots.
 *
 * What sensors saw of a session is kept in the folder for temporary files, so that a proof that was stopped goes on, and one whose rules
 * were changed begins with what was seen.
 */
export async function prove({ seed, scale, say }: ProofContext): Promise<ProofFigures> {
  const store = new CellStore<SeenSession>('coaching-loop', sources);
  const players = loop.drawPlayers(Math.max(1, Math.round(wholePlayers * scale)), seed);
  const seen = new Map<string, SeenSession>();
  const seenOf = (session: ShooterSession) => seen.get(JSON.stringify(session))!;

  const bestSets = players.map(loop.bestSetsFor);
  await seeAll(bestSets.flat(), store, seen, say);
  const known = players.map((player, i) => loop.learn(player, bestSets[i]!.map(seenOf)));
  const sessions = players.map((player, i) => loop.loopSessions(player, known[i]!, i % 4 < 2));
  const drills = drillSessions(players);
  await seeAll(
    [...sessions.flat(), ...drills].map(({ session }) => session),
    store,
    seen,
    say,
  );

  const cells = new Map<string, Cell>();
  const clean: { place: string; player: string; named: FaultName[] }[] = [];
  let [found, shot] = [0, 0];
  players.forEach((player, i) => {
    for (const { fault, strength, session, asked } of sessions[i]!) {
      for (const seer of asked) {
        const place = loop.placesOf(player, seer).join(' and ');
        const seenHere = seenOf(session)[session.sensors === 'ball' ? 'ball' : seer];
        const { atShot, found: shotsFound } = loop.watchSession(known[i]!.bands[seer], session.shots, seenHere);
        const named = Object.keys(atShot) as FaultName[];
        found += shotsFound;
        shot += session.shots.length;
        if (fault === null) {
          clean.push({ place, player: player.name, named });
          continue;
        }
        const parts = loop.placesOf(player, seer);
        const best = bestSets[i]!.map((one) => ({ shots: one.shots, seen: seenOf(one) }));
        const built = loop.builtSize(fault, best, { shots: session.shots, seen: seenOf(session) });
        const key = `${fault}|${strength}|${place}`;
        const cell: Cell = cells.get(key) ?? {
          atShot: [],
          of: 0,
          claimed: 0,
          namedOfClaimed: 0,
          built: [],
          others: new Map(),
        };
        cells.set(key, cell);
        const at = atShot[fault];
        cell.of++;
        if (at !== undefined) cell.atShot.push(at);
        const size = parts.includes('ball') ? built.ball : built.wrist;
        if (size !== null) cell.built.push(size);
        if (loop.claims(fault, strength, parts, built)) {
          cell.claimed++;
          if (at !== undefined) cell.namedOfClaimed++;
        }
        for (const other of named) if (other !== fault) cell.others.set(other, (cell.others.get(other) ?? 0) + 1);
      }
    }
  });

  const { rows, goals } = tableOf(cells, say);
  const quiet = clean.filter(({ named }) => named.length === 0).length;
  goals.push(
    goal(`clean sessions of ${loop.cleanShots} shots without a named fault`, quiet / clean.length, { atLeast: 0.95 }),
  );
  const verdicts = judgeDrills(drills, seenOf);
  for (const name of new Set(verdicts.map(({ drill }) => drill))) {
    const share = (kind: 'works' | 'idle') => {
      const own = verdicts.filter(({ drill, kind: one }) => drill === name && one === kind);
      return own.filter(({ verdict }) => verdict === 'changed').length / own.length;
    };
    goals.push(
      goal(`${name}: a drill that works is proved`, share('works'), { atLeast: 1 }),
      goal(`${name}: one that does nothing is not`, share('idle'), { atMost: 0 }),
    );
  }
  return {
    goals,
    players: players.length,
    rows,
    clean: {
      sessions: clean.length,
      withoutFault: quiet,
      interval95: clopperPearsonInterval(quiet, clean.length),
      named: clean.filter(({ named }) => named.length > 0),
    },
    shots: { shot, found },
    drills: verdicts,
    conditions:
      'grown players, 200 Hz, usual noise, bias and losses; starts off a dribble and a chest pass from the ring, one in five from a hold where nothing is built in; bands from two sets of 20 clean shots; distance told, height of release told to 0.1 m; above the wrist shown to and fro first; other faults are those named within all shots of the session',
  };
}

/** Fills `seen`: from the store, else played in processes of their own and kept. */
async function seeAll(
  wanted: readonly ShooterSession[],
  store: CellStore<SeenSession>,
  seen: Map<string, SeenSession>,
  say: (line: string) => void,
): Promise<void> {
  const missing: ShooterSession[] = [];
  for (const session of wanted) {
    const key = JSON.stringify(session);
    const kept = store.find(key);
    if (kept === null) missing.push(session);
    else seen.set(key, kept);
  }
  const startMs = performance.now();
  const take = (one: SeenSession, session: ShooterSession, index: number) => {
    const key = JSON.stringify(session);
    store.keep(key, one);
    seen.set(key, one);
    const passedS = (performance.now() - startMs) / 1000;
    const leftS = (passedS / (index + 1)) * (missing.length - index - 1);
    if (index % 10 === 9) say(`${index + 1} of ${missing.length} sessions, about ${(leftS / 60).toFixed(0)} min left`);
  };
  const nameOf = ({ sessionSeed }: ShooterSession) => `the session ${sessionSeed}`;
  await runInProcesses({ workerFile, specs: missing, take, nameOf });
}

const places: readonly (readonly SensorPlace[])[] = [
  ...([['ball'], ['forearm'], ['back-of-hand']] as const),
  ...([
    ['ball', 'forearm'],
    ['ball', 'back-of-hand'],
  ] as const),
];

/** Rows fault by place by strength, goals fault by place over the strengths that are claimed. */
function tableOf(cells: ReadonlyMap<string, Cell>, say: (line: string) => void) {
  const rows: Record<string, unknown>[] = [];
  const goals: Goal[] = [];
  for (const parts of places) {
    const place = parts.join(' and ');
    const all = { named: 0, of: 0 };
    for (const row of faultStrengths) {
      const fault = row.fault as FaultName;
      if (!loop.canSee(fault, parts)) {
        rows.push({ fault, place, seen: 'no: this sensor cannot see it, or it is not built into what it could see' });
        continue;
      }
      const claimed = { named: 0, of: 0 };
      for (const strength of [0, 1, 2]) {
        const cell = cells.get(`${fault}|${strength}|${place}`);
        const size = `${row.strengths[strength]} ${row.unit}`;
        if (!loop.isBuildable(fault, strength)) {
          rows.push({ fault, place, size, seen: 'not built: no motion reaches it' });
        }
        if (cell === undefined) continue;
        claimed.named += cell.namedOfClaimed;
        claimed.of += cell.claimed;
        const named = cell.atShot.length;
        const told = {
          ...{ fault, place, size, named, of: cell.of, interval95: clopperPearsonInterval(named, cell.of) },
          ...{
            claimed: cell.claimed,
            builtMedian: loop.middle(cell.built),
            medianShot: loop.middle(cell.atShot),
            otherFaults: Object.fromEntries(cell.others),
          },
        };
        rows.push(told);
        const others = [...cell.others].map(([name, count]) => `${name} ${count}`).join(', ');
        say(
          `${place}: ${fault} ${size}: ${named} of ${cell.of}, claimed ${cell.claimed}, at ${told.medianShot}${others && `; also ${others}`}`,
        );
      }
      all.named += claimed.named;
      all.of += claimed.of;
      if (claimed.of === 0) continue;
      const name = `${fault}, ${place}: named within ${loop.lengthFor(fault)} shots, of ${claimed.of}`;
      goals.push(goal(name, claimed.named / claimed.of, { atLeast: 0.9 }));
    }
    if (all.of > 0) goals.push(goal(`all faults, ${place}, of ${all.of}`, all.named / all.of, { atLeast: 0.9 }));
  }
  return { rows, goals };
}
