import {
  AccuracyTable,
  accuracyGoals,
  boundRatioGoal,
  nullShareGoal,
  rowFigures,
  short,
  startKindGoal,
  tableLines,
} from '../helpers/accuracy-table.ts';
import { type PlayedPractice, type PracticeSpec, playPractice } from '../helpers/play-practice.ts';
import { playAll } from '../helpers/practice-pool.ts';
import { type Goal, goal, type Prove } from './proof.ts';

const practices = 16;
const shotsEach = 20;
const decoysEach = 20;

/**
 * The accuracy of the ball path under the usual conditions: 200 Hz, noise 0.03 m/s² and 0.07 °/s, bias 0.25 m/s² and 1 °/s,
 * gyro scale ±1 %, offset 8–20 mm, 2 % of the packets lost, 4.2–7.2 m, 1.2–3 rev/s, every start kind; each practice has a sensor,
 * a ball, an air and a player of its own, and every third goes the whole way of encoded notifications.
 */
export const prove: Prove = async ({ seed, scale, say }) => {
  const count = Math.max(1, Math.round(practices * scale));
  const specs = Array.from(
    { length: count },
    (_, i): PracticeSpec => ({
      seed: String(seed(`practice ${i}`)),
      shots: shotsEach,
      decoys: decoysEach,
      path: i % 3 === 2 ? 'notifications' : 'samples',
      bound: true,
    }),
  );
  const table = new AccuracyTable();
  let first: PlayedPractice | null = null;
  await playAll(specs, (played, spec, index) => {
    table.add(played);
    first ??= played;
    const { shots, found, decoys, falseShots } = table.score;
    say(
      `practice ${index} (seed ${spec.seed}, ${spec.path}): ${found} of ${shots} shots, ${falseShots} false of ${decoys}`,
    );
  });
  const rows = accuracyGoals.flatMap((wanted) => table.row(wanted) ?? []);
  for (const line of tableLines(rows)) say(line);
  for (const row of rows)
    if (!(row.rms <= row.atMost)) for (const line of row.worst) say(`  ${row.goal.name}: ${line}`);
  const { score } = table;
  for (const missed of score.missed) {
    say(
      `missed: seed ${missed.seed} shot ${missed.index} (${missed.setting.start}, ${missed.contactKind}) at ${missed.releaseS.toFixed(2)} s`,
    );
  }
  for (const extra of score.falseList)
    say(`false shot: seed ${extra.seed} at ${extra.atS?.toFixed(2)} s during ${extra.during}`);
  for (const wrong of score.startWrong) say(`start kind: seed ${wrong.seed} shot ${wrong.index} ${wrong.told}`);
  const agreement = compareWays(first as PlayedPractice | null, specs[0] as PracticeSpec);
  say(`samples against notifications, seed ${specs[0]?.seed}: ${JSON.stringify(agreement)}`);
  const entryGivenHeight = table.entryBoundGivenHeight('plainAir');
  const ringHeightSpreadM = Object.fromEntries(['ring', 'net'].map((kind) => [kind, table.ringHeightSpreadM(kind)]));
  say(`scatter of the true height over the ring at contact, m: ${JSON.stringify(ringHeightSpreadM)}`);
  say(`entry angle's bound if the ring's height were known exactly, in plain air: ${short(entryGivenHeight)} deg`);

  const goals: Goal[] = [
    goal('share of shots found', score.found / score.shots, { atLeast: 1 }),
    goal('decoys and anything else taken for a shot', score.falseShots, { atMost: 0 }),
    goal('share of start kinds right', score.startRight / score.found, { atLeast: startKindGoal }),
  ];
  for (const row of rows) {
    goals.push(goal(`RMS error, ${row.goal.name}`, row.rms, { atMost: row.atMost }));
    goals.push(goal(`share of nulls not demanded, ${row.goal.name}`, row.nullShare, { atMost: nullShareGoal }));
    if (row.ratio !== null)
      goals.push(goal(`RMS error over bound, ${row.goal.name}`, row.ratio, { atMost: boundRatioGoal }));
  }
  const insideGap = [...score.quantities].filter(([, tally]) => tally.insideGap > 0);
  const deep = insideGap.reduce((sum, [, tally]) => sum + tally.insideGap, 0);
  for (const [name, tally] of insideGap) say(`numbers for events deep inside a gap: ${name} ${tally.insideGap}`);
  goals.push(goal('numbers given for an event deep inside a gap', deep, { atMost: 0 }));
  goals.push(
    goal('largest difference between samples and notifications, standard errors', agreement.largestStandardErrors, {
      atMost: 0.5,
    }),
    goal('shots only one of the two ways found', agreement.unmatched, { atMost: 0 }),
  );
  return {
    goals,
    conditions: { practices: count, shots: score.shots, decoys: score.decoys, hours: table.durationS / 3600 },
    contactKindRight: score.contactRight / score.found,
    startKinds: Object.fromEntries(score.startConfusion),
    contactKinds: Object.fromEntries(score.contactConfusion),
    numbersForEventsInGaps: Object.fromEntries(insideGap.map(([name, tally]) => [name, tally.insideGap])),
    bounds: boundsNote,
    ringHeightSpreadM,
    entryBoundGivenRingHeightDeg: entryGivenHeight,
    agreement,
    rows: rows.map(rowFigures),
    others: [...score.quantities.keys()].flatMap((quantity) => {
      const row = table.row({ name: quantity, quantity, atMost: Number.POSITIVE_INFINITY });
      if (!row || row.n === 0 || accuracyGoals.some((wanted) => wanted.quantity === quantity)) return [];
      const { goal: _, atMost: __, ...figures } = row;
      return [{ quantity, ...figures }];
    }),
  };
};

const boundsNote =
  'Cramer-Rao bounds of the whole session in order: each flight of at least 0.4 s out of a hand before a shot, decoys among them, has taught ' +
  'ball, air and sensor, starting from the priors of the analyser and its drift between flights (in plain air: as if it were known that ' +
  'there is no buoyancy and the drag coefficient is constant); derivatives of the noise-free ' +
  "readings of the simulator. Still moments and the way to the hand are left out of the measures of the flight. The entry angle's holds for a ring whose height is " +
  'read off the first contact, known as well as contacts of its kind scatter. Side path, dip and pause of dribbles and catches: the spread over ' +
  'ways that are drawn from what the flights and the flight that came to the hands leave open, the least mean square ' +
  'error; their ratio is that of these shots, and held balls keep the goal as it is. Times: no bound computed, since no noise model says how a hand or a net takes hold.';

/** Plays the same practice the other way and compares what both say. */
function compareWays(one: PlayedPractice | null, spec: PracticeSpec) {
  const other = playPractice({ ...spec, path: spec.path === 'samples' ? 'notifications' : 'samples' });
  const shots = one?.reported ?? [];
  const shift = (one?.truth.shots[0]?.releaseS ?? 0) - (other.truth.shots[0]?.releaseS ?? 0);
  let largestStandardErrors = 0;
  let largestWhere = 'nowhere';
  let unmatched = Math.abs(shots.length - other.reported.length);
  let nullsDiffer = 0;
  for (const shot of shots) {
    const twin = other.reported.find((r) => Math.abs((r.releaseS ?? -1) + shift - (shot.releaseS ?? -2)) < 0.05);
    if (!twin) {
      // A release in a gap has no time to match by.
      if (shot.releaseS !== null) unmatched++;
      continue;
    }
    for (const [name, measure] of Object.entries(shot.measures)) {
      const same = twin.measures[name as keyof typeof twin.measures];
      if ((measure.value === null) !== (same.value === null)) nullsDiffer++;
      if (measure.value === null || same.value === null) continue;
      const apart = Math.abs(measure.value - same.value) / measure.standardError;
      if (apart <= largestStandardErrors) continue;
      largestStandardErrors = apart;
      largestWhere = `${name} of shot ${shot.index}: ${short(measure.value)} and ${short(same.value)}`;
    }
  }
  return { shots: shots.length, unmatched, nullsDiffer, largestStandardErrors, largestWhere };
}
