import { playWrist, type WristPracticeSpec, WristScore } from '../helpers/play-wrist.ts';
import { type Goal, goal, type Prove } from './proof.ts';

const practices = 30;
const each = 10;

interface Condition {
  readonly name: string;
  readonly rateHz: number;
  readonly wobbleFactor: number;
  /** Largest RMS error of the release, s. */
  readonly releaseS: number;
  /** Share of the practices that this condition gets. */
  readonly share: number;
}

const conditions: readonly Condition[] = [
  { name: '200 Hz', rateHz: 200, wobbleFactor: 1, releaseS: 0.008, share: 1 },
  { name: '50 Hz', rateHz: 50, wobbleFactor: 1, releaseS: 0.012, share: 0.3 },
  { name: '200 Hz, wobble doubled', rateHz: 200, wobbleFactor: 2, releaseS: 0.008, share: 0.3 },
];

const limits: readonly { readonly name: string; readonly atMost: number; readonly relative?: boolean }[] = [
  { name: 'pickup, dribble or catch', atMost: 0.025 },
  { name: 'forearmElevationDeg', atMost: 3 },
  { name: 'snapPeakDegps', atMost: 0.03, relative: true },
  { name: 'dipDepthM', atMost: 0.04 },
  { name: 'followThroughS', atMost: 0.06 },
  { name: 'axisTiltDeg', atMost: 4 },
];

/**
 * The accuracy of the wrist path against the simulated arm's known truth: every practice has a player, a hand, a mount and a
 * sensor of its own; half the sensors sit above the wrist, half on the back of the hand. Noise 0.03 m/s² and 0.07 °/s, bias
 * 0.25 m/s² and 1 °/s, 2 % of the packets lost.
 */
export const prove: Prove = async ({ seed, scale, say }) => {
  const goals: Goal[] = [];
  const figures: Record<string, unknown> = {};
  for (const condition of conditions) {
    const score = new WristScore();
    const count = Math.max(2, Math.round(practices * condition.share * scale));
    for (let i = 0; i < count; i++) {
      const spec: WristPracticeSpec = {
        seed: String(seed(`${condition.name} ${i}`)),
        shots: each,
        decoys: each,
        rateHz: condition.rateHz,
        place: i % 2 === 0 ? 'wrist-forearm' : 'back-of-hand',
        wobbleFactor: condition.wobbleFactor,
        // Two wearers of three do what they are told at the start; of the others no elevation is expected.
        showShare: i % 3 === 2 ? 0 : 1,
      };
      score.add(playWrist(spec));
      // The service of the machine is shared: let others in between.
      await new Promise((resolve) => setImmediate(resolve));
    }
    say(`${condition.name}: found ${score.found} of ${score.shots}, ${score.falseShots} false of ${score.decoys}`);
    for (const line of score.missed) say(`  missed: ${line}`);
    for (const line of score.falseList) say(`  false: ${line}`);
    const at = (text: string): string => `${condition.name}: ${text}`;
    goals.push(
      goal(at('share of shots found'), score.found / score.shots, { atLeast: 0.99 }),
      goal(at('share of decoys told as shots'), score.falseShots / score.decoys, { atMost: 0.01 }),
      goal(at('RMS error, release, s'), score.figures('release').rms, { atMost: condition.releaseS }),
      goal(at('share without elevation where the arm was shown'), score.shownWithoutElevation / score.shownShots, {
        atMost: 0.02,
      }),
    );
    for (const { name, atMost, relative } of limits) {
      goals.push(goal(at(`RMS error, ${name}`), score.figures(name, relative).rms, { atMost }));
    }
    const names = [...score.comparisons.keys()].sort();
    const table = Object.fromEntries(names.map((name) => [name, score.figures(name, name === 'snapPeakDegps')]));
    for (const [name, row] of Object.entries(table)) {
      say(
        `  ${name.padEnd(26)} n ${row.n} rms ${row.rms.toPrecision(3)} median ${row.median.toPrecision(3)} covers ${(100 * row.cover90).toFixed(0)} %, z² ${row.meanSquareZ.toFixed(2)}, nulls ${JSON.stringify(row.nulls)}`,
      );
      // Before it is learnt the backspin's interval is wide for all players; wrist-backspin proves it afterwards.
      const bounds = name === 'backspinRps' ? { atLeast: 0.85 } : { atLeast: 0.85, atMost: 0.95 };
      goals.push(goal(at(`90 % interval holds the truth, ${name}`), row.cover90, bounds));
    }
    figures[condition.name] = {
      practices: count,
      shots: score.shots,
      found: score.found,
      decoys: score.decoys,
      falseShots: score.falseShots,
      shownShots: score.shownShots,
      shownWithoutElevation: score.shownWithoutElevation,
      falseList: score.falseList,
      hours: score.durationS / 3600,
      startKinds: Object.fromEntries(score.startKinds),
      table,
    };
  }
  return { goals, figures };
};
