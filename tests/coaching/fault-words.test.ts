import { describe, expect, it } from 'vitest';
import { bandsFor } from '../../src/coaching/bands.ts';
import { deriveWatch, initialWatch, readWatch, stepWatch } from '../../src/coaching/fault-watch.ts';
import { describeFault } from '../../src/coaching/fault-words.ts';
import { Random } from '../../src/simulate/random.ts';
import { coachedShot } from '../helpers/made-coached-shot.ts';

const watch = deriveWatch(bandsFor(), 18);

function findings(numbers: (random: Random, i: number) => Parameters<typeof coachedShot>[1], count = 20) {
  const random = new Random('words');
  let state = initialWatch;
  for (let i = 0; i < count; i++)
    state = stepWatch(watch, state, { shot: coachedShot(i, numbers(random, i)), distanceM: 5 });
  return readWatch(watch, state);
}

describe('a fault in words', () => {
  const leaning = findings((random) => ({ axisTiltDeg: [12 + random.normal(0, 2), 0.4] }));

  it('says what was seen, with interval and edge, toward a hand and never as a sign', () => {
    const right = describeFault(leaning[0]!, ['ball'], 'right');
    expect(right.title).toContain('index and middle finger');
    expect(right.saw).toHaveLength(1);
    expect(right.saw[0]).toMatch(
      /^Lean of the spin axis: 1[12]° toward the other hand on average of 20 shots \(between \d+° and 1\d°\); up to [34]° to either side is left alone\.$/,
    );
    expect(describeFault(leaning[0]!, ['ball'], 'left').saw[0]).toContain('away from the other hand');
    const mirrored = findings((random) => ({ axisTiltDeg: [-12 + random.normal(0, 2), 0.4] }));
    const left = describeFault(mirrored[0]!, ['ball'], 'left').saw[0]!;
    expect(left).toContain('toward the other hand');
    expect(left).not.toMatch(/[-−]/);
  });

  it('says how sure, who sees it, who does not, and what else it may be', () => {
    const told = describeFault(leaning[0]!, ['forearm', 'ball'], 'right');
    expect(told.confidence).toMatch(/^Clear since shot \d+: of 100 practices/);
    expect(told.seenBy).toEqual([expect.stringContaining('in the ball sees the lean')]);
    expect(told.notSeenBy).toEqual([
      'The sensor above the wrist cannot see this.',
      expect.stringContaining('A sensor on the back of the hand'),
    ]);
    expect(told.otherExplanations.length).toBeGreaterThan(1);
  });

  it('says nothing where nothing was seen', () => {
    const quiet = leaning.find(({ name }) => name === 'two-part')!;
    expect(describeFault(quiet, ['ball'], 'right')).toMatchObject({
      saw: [],
      confidence: 'Nothing to say after 0 shots.',
    });
  });

  it('tells changes with their sign', () => {
    const tired = findings((random, i) => ({ launchAngleDeg: [52 - 0.2 * i + random.normal(0, 0.6), 0.3] }), 50);
    const [saw] = describeFault(tired[0]!, ['ball'], 'right').saw;
    expect(saw).toMatch(
      /^Launch angle: −(9|10|11)\.\d° over 50 shots, seen in 50 \(between −\d+\.\d° and −\d+\.\d°\); from −1\.5° on/,
    );
  });
});
