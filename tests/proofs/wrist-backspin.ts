import { playSpinPlayer, type SpinPlayerResult, type ToldSpin } from '../helpers/spin-players.ts';
import { type Goal, goal, type Prove } from './proof.ts';

const players = 16;
const references = 10;
const shots = 50;

const groups = [
  { name: 'back of the hand', place: 'back-of-hand' },
  { name: 'above the wrist', place: 'wrist-forearm' },
] as const;

/**
 * Backspin from the arm, against the simulated shooter's known spin: before there are reference shots, and after ten of them on
 * the same player's next fifty shots. Half the players are calibrated by a sensor in the ball that is analysed as any other, half
 * by turns counted on video. What the simulator gives ball and hand: `src/simulate/arm/hand-spin.ts`.
 */
export const prove: Prove = async ({ seed, scale, say }) => {
  const goals: Goal[] = [];
  const figures: Record<string, unknown> = {};
  for (const { name, place } of groups) {
    const results: SpinPlayerResult[] = [];
    for (let i = 0; i < Math.max(2, Math.round(players * scale)); i++) {
      const from = i % 2 === 0 ? 'video' : 'ball-sensor';
      results.push(playSpinPlayer({ seed: String(seed(`${name} ${i}`)), place, from, references, shots }));
      const last = results[results.length - 1] as SpinPlayerResult;
      say(
        `  ${name} ${i}, ${from}: ${last.taken} references, RMS before ${percent(last.before)}, after ${percent(last.after)}, covers ${share(last.after).toFixed(2)}, ${last.notGiven} not given`,
      );
      for (const words of last.refused) say(`    refused: ${words}`);
      await new Promise((resolve) => setImmediate(resolve));
    }
    const before = results.flatMap((result) => result.before);
    const after = results.flatMap((result) => result.after);
    const worst = Math.max(...results.map((result) => relativeRms(result.after)));
    goals.push(
      goal(`${name}: 90 % interval holds the truth before calibration`, share(before), { atLeast: 0.85 }),
      goal(`${name}: RMS error after ${references} reference shots, share`, relativeRms(after), { atMost: 0.08 }),
      goal(`${name}: 90 % interval holds the truth after them`, share(after), { atLeast: 0.85, atMost: 0.95 }),
      goal(`${name}: mean z² after them`, meanSquareZ(after), { atLeast: 0.7, atMost: 1.4 }),
    );
    figures[name] = {
      players: results.length,
      shots: after.length,
      before: { relativeRms: relativeRms(before), cover90: share(before), meanSquareZ: meanSquareZ(before) },
      after: {
        relativeRms: relativeRms(after),
        cover90: share(after),
        meanSquareZ: meanSquareZ(after),
        worstPlayer: worst,
      },
      notGiven: results.reduce((sum, { notGiven }) => sum + notGiven, 0),
      refused: results.reduce((sum, { refused }) => sum + refused.length, 0),
    };
  }
  return { goals, figures };
};

function relativeRms(list: readonly ToldSpin[]): number {
  return Math.sqrt(list.reduce((sum, { value, truthRps }) => sum + (value / truthRps - 1) ** 2, 0) / list.length);
}

function share(list: readonly ToldSpin[]): number {
  return (
    list.filter(({ truthRps, interval90: [low, high] }) => truthRps >= low && truthRps <= high).length / list.length
  );
}

function meanSquareZ(list: readonly ToldSpin[]): number {
  return list.reduce((sum, told) => sum + ((told.value - told.truthRps) / told.standardError) ** 2, 0) / list.length;
}

function percent(list: readonly ToldSpin[]): string {
  return `${(100 * relativeRms(list)).toFixed(1)} %`;
}
