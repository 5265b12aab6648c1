import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { createWriteStream, mkdtempSync, rmSync, statSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import type { Analysis } from '../../src/cli/analyze/analysis-schema.ts';
import { simulatePractice } from '../../src/simulate/practice.ts';
import { csvLines } from '../../src/simulate/practice-csv.ts';
import { scenarioPractice } from '../../src/simulate/scenarios.ts';
import { projectRoot } from '../helpers/project-root.ts';
import { goal, type ProofContext, type ProofFigures } from './proof.ts';

const wholeBytes = 2_000_000_000;
/** Rows of a ball lying in a bag after every practice: a long recording is mostly that. */
const restRows = 1_000_000;
const restStepS = 0.005;
/** Whatever the size of the file, the process stays below this. Node and the loader of TypeScript take some 150 MB. */
const boundMb = 400;
/** A file ten times as long may not need more than this beyond the noise of garbage collection. */
const growthMb = 80;

interface Written {
  readonly bytes: number;
  readonly practices: number;
  readonly rows: number;
  readonly badRows: number;
}

/**
 * A CSV recording of 2 GB is analysed within bounded memory, every practice in it alike and every bad row told: one
 * practice of a simulated shooter again and again with long rest between, one damaged row in every stretch of rest.
 */
export async function prove({ seed, scale, say }: ProofContext): Promise<ProofFigures> {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-big-'));
  try {
    const practice = simulatePractice(scenarioPractice('catch-and-shoot-net', seed('practice')));
    const lines = [...csvLines(practice.block)];
    const runs = [];
    for (const share of [0.1, 1]) {
      const file = path.join(folder, 'big.csv');
      const written = await writeBigFile(file, lines, share * scale * wholeBytes, say);
      const run = await analyse(file);
      say(
        `${(written.bytes / 1e6).toFixed(0)} MB: ${run.durationS.toFixed(1)} s, at most ${run.maxRssMb.toFixed(0)} MB`,
      );
      runs.push({ written, run });
    }
    const [small, big] = runs as [(typeof runs)[0], (typeof runs)[0]];
    const { recording, shots } = big.run.analysis;
    const durationS = recording.durationS;
    return {
      fileBytes: big.written.bytes,
      rows: big.written.rows,
      recordedS: Math.round(durationS),
      tookS: big.run.durationS,
      timesRealTime: Math.round(durationS / big.run.durationS),
      megabytesPerS: Math.round(big.written.bytes / 1e5 / big.run.durationS) / 10,
      shots: shots.length,
      practices: big.written.practices,
      smallFileMaxRssMb: Math.round(small.run.maxRssMb),
      goals: [
        goal('memory at most, MB', Math.round(big.run.maxRssMb), { atMost: boundMb }),
        goal('memory beyond that of a tenth of the file, MB', Math.round(big.run.maxRssMb - small.run.maxRssMb), {
          atMost: growthMb,
        }),
        goal('rows read over rows written', recording.sampleCount / big.written.rows, { atLeast: 1, atMost: 1 }),
        goal('bad rows told over bad rows written', recording.badRows / big.written.badRows, { atLeast: 1, atMost: 1 }),
        goal('shots found per practice', shots.length / big.written.practices, {
          atLeast: practice.truth.shots.length,
          atMost: practice.truth.shots.length,
        }),
      ],
    };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

async function writeBigFile(
  file: string,
  lines: readonly string[],
  atLeastBytes: number,
  say: (line: string) => void,
): Promise<Written> {
  const out = createWriteStream(file);
  const write = async (text: string): Promise<void> => {
    if (!out.write(text)) await once(out, 'drain');
  };
  const [header = '', ...rows] = lines;
  const split = rows.map((row) => [Number(row.slice(0, row.indexOf(','))), row.slice(row.indexOf(','))] as const);
  // The rest goes on where the practice ends: the ball as it lies, with the noise of its last half second.
  const still = split.slice(-100).map(([, values]) => values);
  await write(`${header}\n`);
  let startS = 0;
  let practices = 0;
  let rowCount = 0;
  for (let bytes = 0; bytes < atLeastBytes; practices++) {
    const practice = split.map(([timeS, values]) => `${(startS + timeS).toFixed(6)}${values}`);
    const lastS = startS + (split.at(-1)?.[0] ?? 0);
    await write(`${practice.join('\n')}\nthis row is damaged\n`);
    rowCount += practice.length;
    bytes += practice.join('\n').length;
    for (let i = 0; i < restRows && bytes < atLeastBytes; ) {
      let text = '';
      for (const end = i + 10_000; i < end; i++)
        text += `${(lastS + (i + 1) * restStepS).toFixed(6)}${still[i % still.length]}\n`;
      await write(text);
      bytes += text.length;
      rowCount += 10_000;
      startS = lastS + (i + 1) * restStepS;
    }
  }
  out.end();
  await once(out, 'close');
  const { size } = statSync(file);
  say(`wrote ${(size / 1e6).toFixed(0)} MB`);
  return { bytes: size, practices, rows: rowCount, badRows: practices };
}

/** Analyses the file in a process of its own and asks that process how much memory it ever held. */
async function analyse(file: string): Promise<{ analysis: Analysis; maxRssMb: number; durationS: number }> {
  const script = `
    import { runSeamwise } from './src/cli/program.ts';
    const code = await runSeamwise(${JSON.stringify(['analyze', file, '--placement', 'ball', '--json'])}, {
      stdout: process.stdout, stderr: process.stderr, widthColumns: 100,
    });
    process.exitCode = code;
    process.send(process.resourceUsage().maxRSS);
    process.disconnect();
  `;
  const startMs = performance.now();
  const child = spawn(process.execPath, ['--import', 'tsx', '--input-type=module', '--eval', script], {
    cwd: projectRoot,
    stdio: ['ignore', 'pipe', 'ignore', 'ipc'],
  });
  let stdout = '';
  let maxRssKb = Number.NaN;
  child.stdout?.on('data', (text) => {
    stdout += text;
  });
  child.on('message', (message) => {
    maxRssKb = Number(message);
  });
  const [code] = await once(child, 'close');
  if (code !== 0) throw new Error(`analyze ended with ${code}: expected 0`);
  const durationS = Math.round(performance.now() - startMs) / 1000;
  return { analysis: JSON.parse(stdout), maxRssMb: maxRssKb / 1024, durationS };
}
