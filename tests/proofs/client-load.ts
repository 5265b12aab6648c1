import { type ChildProcess, fork } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { systemClock } from '../../src/devices/system-clock.ts';
import { silentLogger } from '../../src/foundation/logger.ts';
import { buildServer } from '../../src/server/build-server.ts';
import { LiveHub, type PublishedEvent } from '../../src/server/live-hub.ts';
import { PracticeKeeper } from '../../src/server/practice/practice-keeper.ts';
import { ShotLog } from '../../src/server/shot-log.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import type { ClientKind, ClientReport, FromClients, ToClients } from '../helpers/load-clients.ts';
import { madeShot } from '../server/made-shots.ts';
import { descriptionBytes, sensorId } from '../sessions/recording/made-recording.ts';
import { goal, type Prove } from './proof.ts';

export interface LoadPlan {
  readonly counts: Readonly<Record<ClientKind, number>>;
  readonly processes: number;
  readonly shotsPerS: number;
  readonly durationS: number;
  /** Whether each shot is stored before it is told, as the service does it. */
  readonly stored: boolean;
}

export interface LoadFigures {
  readonly shots: number;
  readonly delaysMs: { readonly p50: number; readonly p99: number; readonly most: number };
  /** Messages whose delay counts. */
  readonly timed: number;
  readonly overtaken: number;
  readonly stale: number;
  readonly doubled: number;
  /** Final shots that a client did not get which never stood still, or came back. */
  readonly missed: number;
  /** Clients that do not have the newest shot at the end. */
  readonly behind: number;
  /** Late clients that did not get the shots of before, as many as are told. */
  readonly lateWithout: number;
  readonly cutReaders: number;
  readonly cutOthers: number;
  /** Most bytes that waited in the service for one client. */
  readonly mostWaitingBytes: number;
  /** Memory of the service beyond what it had before the first client, MB, at its most. */
  readonly memoryMb: number;
  readonly connections: number;
}

const latestShotCount = 50;
/** What the service does on a real clock; here sooner, so that a short run sees it too. */
const checkMs = 2000;
const readers: readonly ClientKind[] = ['steady', 'returning', 'late'];

/** Publishes shots to many clients, some of which cannot follow, each shot stored before it is told as the service does it. */
export async function loadClients(plan: LoadPlan, say: (line: string) => void): Promise<LoadFigures> {
  const base = mkdtempSync(path.join(tmpdir(), 'seamwise-load-'));
  const clock = { ...systemClock, nowS: () => Number(process.hrtime.bigint()) / 1e9 };
  const keeper = await PracticeKeeper.open({
    ...{ dataFolder: path.join(base), clock: systemClock, logger: silentLogger, simulated: true },
    settings: defaultBallSettings,
  });
  const hub = new LiveHub({
    ...{ log: new ShotLog(), clock: systemClock, version: 'load', runId: 'run1', simulated: true, latestShotCount },
  });
  const server = await buildServer({ hub, pageFolder: base, port: 0, logger: silentLogger });
  const url = await server.listen({ host: '127.0.0.1', port: 0 });
  keeper.takeState({
    ...{ sensorId, state: 'streaming', hostTimeS: clock.nowS(), description: descriptionBytes, detail: null },
  });
  const children = splitClients(plan).map((counts) => openClients(`${url.replace('http', 'ws')}/api/live`, counts));
  const checking = setInterval(() => hub.checkClients(), checkMs);
  const finals: string[] = [];
  let telling = Promise.resolve();
  const publish = (index: number, stage: 'early' | 'final'): void => {
    telling = telling.then(async () => {
      const event: PublishedEvent = {
        ...{ sensorId, streamIndex: 0, hostTimeS: clock.nowS(), releaseHostS: systemClock.nowS() },
        event: { kind: 'shot', shot: madeShot(index, stage) },
      };
      const document = hub.prepare(event);
      if (plan.stored) await keeper.keep(document, event);
      hub.tell(document);
      if (stage === 'final' && document.kind === 'shot') finals.push(document.shotId);
    });
  };
  try {
    // What earlier shots told is the first burst of everybody.
    let index = 0;
    for (; index < latestShotCount; index++) publish(index, 'final');
    await telling;
    globalThis.gc?.();
    const beforeBytes = process.memoryUsage().rss;
    let mostBytes = 0;
    let mostWaitingBytes = 0;
    const watching = setInterval(() => {
      mostBytes = Math.max(mostBytes, process.memoryUsage().rss - beforeBytes);
      for (const client of server.websocketServer.clients) {
        mostWaitingBytes = Math.max(mostWaitingBytes, client.bufferedAmount);
      }
    }, 100);
    await tellAll(children, { kind: 'come', late: false });
    say(`${hub.clientCount} clients are there`);
    const startS = clock.nowS();
    const count = Math.round(plan.durationS * plan.shotsPerS);
    let lateCame: Promise<unknown> = Promise.resolve();
    for (let k = 0; k < count; k++, index++) {
      await new Promise<void>((resolve) =>
        systemClock.schedule(systemClock.nowS() + startS + k / plan.shotsPerS - clock.nowS(), resolve),
      );
      publish(index, 'early');
      publish(index, 'final');
      if (k === Math.floor(count / 2)) lateCame = tellAll(children, { kind: 'come', late: true });
    }
    await telling;
    await lateCame;
    const reports = (
      await Promise.all(children.map((child) => reportsOf(child, { kind: 'finish', lastSeq: hub.log.lastSeq })))
    ).flat();
    clearInterval(watching);
    return figuresOf(reports, finals, mostBytes, mostWaitingBytes);
  } finally {
    clearInterval(checking);
    for (const child of children) child.kill();
    await server.close();
    await keeper.close();
    rmSync(base, { recursive: true, force: true });
  }
}

function figuresOf(
  reports: readonly ClientReport[],
  finals: readonly string[],
  mostBytes: number,
  mostWaitingBytes: number,
): LoadFigures {
  const sum = (of: (report: ClientReport) => number): number =>
    reports.reduce((total, report) => total + of(report), 0);
  const delays = reports
    .filter(({ kind }) => readers.includes(kind))
    .flatMap(({ delaysMs }) => [...delaysMs])
    .sort((a, b) => a - b);
  const at = (share: number): number =>
    delays[Math.min(delays.length - 1, Math.floor(share * delays.length))] ?? Number.NaN;
  const newest = finals.at(-1) ?? '';
  const missedBy = ({ kind, finals: got }: ClientReport): number => {
    if (kind !== 'steady' && kind !== 'returning') return 0;
    const known = new Set(got);
    return finals.filter((shotId) => !known.has(shotId)).length;
  };
  const isReader = ({ kind }: ClientReport): boolean => readers.includes(kind);
  return {
    shots: finals.length,
    delaysMs: { p50: at(0.5), p99: at(0.99), most: at(1) },
    timed: delays.length,
    overtaken: sum(({ overtaken }) => overtaken),
    stale: sum(({ stale }) => stale),
    doubled: sum((report) => (isReader(report) ? report.doubled : 0)),
    missed: sum(missedBy),
    behind: reports.filter(({ finals: got }) => !got.includes(newest)).length,
    lateWithout: reports.filter(
      ({ kind, finals: got }) => kind === 'late' && got.length < Math.min(latestShotCount, finals.length),
    ).length,
    cutReaders: sum((report) => (isReader(report) ? report.cut : 0)),
    cutOthers: sum((report) => (isReader(report) ? 0 : report.cut)),
    mostWaitingBytes,
    memoryMb: mostBytes / 1e6,
    connections: sum(({ connections }) => connections),
  };
}

/** Two hundred pages at ten shots a second, a tenth of them slow or stopped. */
export const prove: Prove = async ({ scale, say }) => {
  const figures = await loadClients(
    {
      counts: { steady: 150, stopped: 10, slow: 10, returning: 20, late: 10 },
      ...{ processes: 4, shotsPerS: 10, durationS: Math.max(5, 180 * scale), stored: true },
    },
    say,
  );
  return {
    goals: [
      goal('p99 from publishing to a reading page, ms', figures.delaysMs.p99, { atMost: 50 }),
      goal('messages timed', figures.timed, { atLeast: 1000 }),
      goal('older documents after newer ones', figures.overtaken + figures.stale, { atMost: 0 }),
      goal('final shots that came twice', figures.doubled, { atMost: 0 }),
      goal('final shots missed by pages that read or came back', figures.missed, { atMost: 0 }),
      goal('pages without the newest shot at the end', figures.behind, { atMost: 0 }),
      goal('late pages without the shots of before', figures.lateWithout, { atMost: 0 }),
      goal('reading pages cut off', figures.cutReaders, { atMost: 0 }),
      goal('bytes that waited for a page that stood still', figures.mostWaitingBytes, { atLeast: 64 * 1024 }),
      // The mark at which nothing more is handed over, and the one document that crosses it.
      goal('most bytes waiting for one page', figures.mostWaitingBytes, { atMost: 64 * 1024 + 16 * 1024 }),
      goal('memory of the service beyond that without pages, MB', figures.memoryMb, { atMost: 150 }),
    ],
    ...figures,
  };
};

function splitClients({ counts, processes }: LoadPlan): Record<ClientKind, number>[] {
  return Array.from({ length: processes }, (_, at) => {
    const share = (count: number): number => Math.floor((count + processes - 1 - at) / processes);
    return Object.fromEntries(Object.entries(counts).map(([kind, count]) => [kind, share(count)])) as Record<
      ClientKind,
      number
    >;
  });
}

function openClients(url: string, counts: Readonly<Record<ClientKind, number>>): ChildProcess {
  const script = fileURLToPath(new URL('../helpers/load-clients.ts', import.meta.url));
  return fork(script, [url, JSON.stringify(counts)], { execArgv: ['--import', 'tsx'], serialization: 'advanced' });
}

function tellAll(children: readonly ChildProcess[], message: ToClients): Promise<unknown> {
  return Promise.all(children.map((child) => answerOf(child, message)));
}

async function reportsOf(child: ChildProcess, message: ToClients): Promise<readonly ClientReport[]> {
  const answer = await answerOf(child, message);
  return answer.kind === 'reports' ? answer.reports : [];
}

function answerOf(child: ChildProcess, message: ToClients): Promise<FromClients> {
  return new Promise((resolve, reject) => {
    const ended = (code: number | null): void => reject(new Error(`the clients' process ended with ${code}`));
    child.once('exit', ended);
    child.once('message', (answer: FromClients) => {
      child.off('exit', ended);
      resolve(answer);
    });
    child.send(message);
  });
}
