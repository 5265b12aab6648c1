import { readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { projectRoot } from '../helpers/project-root.ts';
import { temporaryFolder } from '../helpers/temporary-folder.ts';
import { type CliRun, runCli } from './run-cli.ts';

function inFolder(folder: string): (...words: string[]) => Promise<CliRun> {
  const readConfig = () => ({ port: 0, dataFolder: folder, pageFolder: folder });
  return (...words) => runCli(['spin-reference', ...words], { readConfig });
}

const counted = ['--revolutions', '2', '--frames', '240', '--frame-rate', '240'];
const hand = ['--mount', 'back-of-hand', '--snap', '1100'];

describe('reference shots', () => {
  it('are added, listed with the gain they give, and forgotten', async () => {
    const run = inFolder(temporaryFolder());
    expect((await run()).stdout).toContain('No reference shots yet');
    const first = await run('add', 'Player 07', ...hand, ...counted);
    expect(first).toMatchObject({ code: 0, stderr: '' });
    expect(first.stdout).toMatch(
      /^Kept: 2\.00 ± 0\.13 rev\/s at a snap of 1100 deg\/s\. Player 07 now has 1 reference shot, gain 0\.6\d ± 0\.\d\d\./,
    );
    const second = await run('add', 'Player 07', ...hand, '--spin', '2.1', '--spin-error', '0.02');
    expect(second.stdout).toContain('2 reference shots');
    const { stdout } = await run('list');
    expect(stdout).toContain('2 rev in 240 frames at 240 Hz');
    expect(stdout).toContain('sensor in the ball');
    expect(stdout).toMatch(/Player 07, back-of-hand: gain 0\.6\d ± 0\.\d\d from 2 reference shots/);
    const json = JSON.parse((await run('list', 'Player 07', '--json')).stdout);
    expect(json).toHaveLength(2);
    expect(json[0]).toMatchObject({ player: 'Player 07', place: 'back-of-hand', spinRps: 2 });
    expect((await run('clear', 'Player 07')).stdout).toBe('2 reference shots of Player 07 forgotten.\n');
    expect((await run('clear', 'Player 07')).stdout).toBe('There are no reference shots of Player 07.\n');
  });

  it('stay a player’s when the name changes, also those that were kept before the club knew the player', async () => {
    const folder = temporaryFolder();
    const run = inFolder(folder);
    const readConfig = () => ({ port: 0, dataFolder: folder, pageFolder: folder });
    const players = (...words: string[]) => runCli(['players', ...words], { readConfig });
    await run('add', 'Player 07', ...hand, ...counted);
    await players('add', 'Player 07');
    expect(await players('change', 'Player 07', '--name', 'Player 70')).toMatchObject({ code: 0, stderr: '' });
    await run('add', 'Player 70', ...hand, '--spin', '2.1', '--spin-error', '0.02');
    const named = async (name: string) => JSON.parse((await run('list', name, '--json')).stdout) as object[];
    expect(await named('Player 70')).toHaveLength(2);
    expect(await named('Player 07')).toHaveLength(0);
    expect((await run('list')).stdout).toMatch(/Player 70, back-of-hand: gain 0\.6\d ± 0\.\d\d from 2 reference shots/);
  });

  it.each([
    ['no spin', ['--spin', '0', '--spin-error', '0.1'], 'more than 0 revolutions'],
    ['a spin no ball has', ['--spin', '9', '--spin-error', '0.1'], 'no ball leaves a hand that fast'],
    ['a count that no video can give', ['--revolutions', '9', '--frames', '20', '--frame-rate', '30'], 'turns too far'],
    ['no frame', ['--revolutions', '2', '--frames', '0', '--frame-rate', '30'], 'at least 3 whole frames'],
    ['no way of knowing the spin', [], 'expected either a count'],
    ['two ways of knowing the spin', [...counted, '--spin', '2', '--spin-error', '0.1'], 'expected either a count'],
    ['half a count', ['--revolutions', '2', '--frames', '240'], 'together'],
    ['a spin without its error', ['--spin', '2'], 'together'],
  ])('refuse %s with a sentence and keep nothing', async (_, words, sentence) => {
    const run = inFolder(temporaryFolder());
    const added = await run('add', 'Player 07', ...hand, ...words);
    expect(added.code).toBe(2);
    expect(added.stdout).toBe('');
    expect(added.stderr).toContain(sentence);
    expect((await run('list')).stdout).toContain('No reference shots yet');
  });

  it('refuse a shot without a snap, and a mount that there is not', async () => {
    const run = inFolder(temporaryFolder());
    const still = await run('add', 'Player 07', '--mount', 'forearm', '--snap', '0', ...counted);
    expect(still.stderr).toContain('no snap of the hand was seen');
    const ankle = await run('add', 'Player 07', '--mount', 'ankle', '--snap', '1100', ...counted);
    expect(ankle.code).toBe(2);
    expect(ankle.stderr).toContain('forearm');
  });

  it('are taken from a recording of both sensors, once', async () => {
    const folder = temporaryFolder();
    const run = inFolder(folder);
    const recording = path.join(folder, 'both.mcap');
    const made = await runCli(['simulate', '--scenario', 'pair-practice', '--out', recording]);
    expect(made.code).toBe(0);
    const first = await run('pair', 'Player 07', recording);
    expect(first).toMatchObject({ code: 0, stderr: '' });
    const [, kept, seen] = /^(\d+) reference shots? kept of (\d+) that both/m.exec(first.stdout) ?? [];
    expect(Number(kept)).toBeGreaterThan(0);
    expect(Number(seen)).toBeGreaterThanOrEqual(Number(kept));
    const json = JSON.parse((await run('list', '--json')).stdout);
    expect(json).toHaveLength(Number(kept));
    expect(json[0].origin).toMatchObject({ kind: 'ball-sensor', sensorId: expect.stringMatching(/^[0-9a-f]{32}$/) });
    const again = await run('pair', 'Player 07', recording);
    expect(again.stdout).toContain('it is kept already');
    expect(JSON.parse((await run('list', '--json')).stdout)).toHaveLength(Number(kept));
  });

  it('are not taken from a recording of one sensor', async () => {
    const recording = path.join(projectRoot, 'recordings-synthetic', 'practice.mcap');
    const paired = await inFolder(temporaryFolder())('pair', 'Player 07', recording);
    expect(paired.code).toBe(2);
    expect(paired.stderr).toContain('one sensor in the ball and one on the arm, came 1 in a ball and 0 on an arm');
  });

  it('say what is wrong with a damaged file', async () => {
    const folder = temporaryFolder();
    const file = path.join(folder, 'spin-references.json');
    writeFileSync(file, '{');
    const added = await inFolder(folder)('add', 'Player 07', ...hand, ...counted);
    expect(added.code).toBe(1);
    expect(added.stderr).toContain(`reference shots in ${file}: expected JSON`);
    expect(readFileSync(file, 'utf8')).toBe('{');
  });
});
