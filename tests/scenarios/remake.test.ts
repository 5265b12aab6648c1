import { readdirSync, readFileSync, statSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { allScenarioNames } from '../../src/cli/simulate/simulate-command.ts';
import { writeScenario } from '../../src/cli/simulate/write-scenario.ts';
import { projectRoot } from '../helpers/project-root.ts';
import { tempFolder } from '../helpers/temp-folder.ts';
import { readRecording } from '../sessions/recording/made-recording.ts';

const folder = path.join(projectRoot, 'recordings-synthetic');
const again = tempFolder();
const remake = 'to make them again: npm run seamwise -- simulate --scenario all --seed 1 --out recordings-synthetic';

describe('recordings-synthetic', () => {
  it(`holds every scenario with its truth and nothing else, in less than 5 MB; ${remake}`, () => {
    const wanted = allScenarioNames().flatMap((name) => [`${name}.mcap`, `${name}.truth.json`]);
    expect(readdirSync(folder).sort()).toEqual([...wanted, 'README.md'].sort());
    expect(wanted.length).toBeGreaterThanOrEqual(2 * 12);
    const bytes = wanted.reduce((sum, name) => sum + statSync(path.join(folder, name)).size, 0);
    expect(bytes).toBeLessThan(5_000_000);
  });

  it('tells in its README what every scenario is', () => {
    const text = readFileSync(path.join(folder, 'README.md'), 'utf8');
    for (const name of allScenarioNames()) expect(text).toContain(`| \`${name}\` |`);
    expect(text).toContain('npm run seamwise -- simulate --scenario all --seed 1 --out recordings-synthetic');
  });

  it.each([
    'gap-at-release',
    'small-ball-low-hoop',
    'everything-at-once',
    'wrist-child',
    'wrist-accel-only',
    'wrist-everyday',
    'pair-free-throw',
  ])(`is made again bit for bit: %s; ${remake}`, async (scenario) => {
    await writeScenario({ scenario, seed: 1, file: path.join(again, `${scenario}.mcap`) });
    for (const name of [`${scenario}.mcap`, `${scenario}.truth.json`]) {
      const [made, kept] = [again, folder].map((place) => readFileSync(path.join(place, name))) as [Buffer, Buffer];
      expect(made.equals(kept), name).toBe(true);
    }
  });

  it.each(allScenarioNames())('is whole and says that it is simulated: %s', async (name) => {
    const { reader, entries } = await readRecording(path.join(folder, `${name}.mcap`));
    expect(reader.damage()).toMatchObject({ isClosed: true, damagedChunks: 0, brokenBytes: 0 });
    expect(Object.fromEntries(reader.about)).toEqual({ format: '1', simulated: 'true', scenario: name, seed: '1' });
    expect(entries[0]?.kind).toBe('description');
    expect(entries.length).toBeGreaterThan(100);
  });
});
