import type { ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import WebSocket from 'ws';
import { systemClock } from '../../src/devices/system-clock.ts';
import type { LiveDocument } from '../../src/server/wire/live-document.ts';
import { ClubStore } from '../../src/sessions/database/club-store.ts';
import { forked, HubProcess } from '../helpers/forked-hub.ts';
import type { LoadOrder, LoadReport } from '../helpers/load-courts.ts';
import {
  hasPostgres,
  noPostgres,
  type PostgresCluster,
  removeCluster,
  startCluster,
} from '../helpers/postgres-cluster.ts';
import { coach } from '../sessions/database/opened-store.ts';
import { goal, type ProofContext, type ProofFigures } from './proof.ts';

const courtsWhole = 1000;
const lastsWholeS = 600;
const everyS = 4;
/** All courts come in over so long before the first shot, s. */
const rampWholeS = 30;
const players = 20;
/** After the last shot a page has so long to be told the rest, s. */
const patienceS = 240;

/**
 * A thousand courts hand over a shot every four seconds each to two processes of a hub; a coach's page at each is told of all of them. What
 * is measured is the time from the final shot on the court to the message on the page; courts, hub, PostgreSQL and pages share this machine.
 */
export async function prove({ scale, say }: ProofContext): Promise<ProofFigures> {
  if (!hasPostgres) return { skipped: noPostgres };
  const courtCount = Math.max(20, Math.round(courtsWhole * Math.min(1, scale * 4)));
  const lastsS = Math.max(8, lastsWholeS * scale);
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-load-'));
  // Commits reach the disk, as they would in use.
  const cluster = await startCluster(undefined, ['fsync=on', 'full_page_writes=on']);
  const children: ChildProcess[] = [];
  const pages: LoadPage[] = [];
  try {
    const database = await cluster.createDatabase('load');
    const address = cluster.address(database);
    const store = await ClubStore.open({ address, nowS: () => systemClock.nowS() });
    const playerIds: string[] = [];
    for (let index = 0; index < players; index++) {
      const id = await store.players.add(coach, { pseudonym: `Player ${index + 1}` });
      for (const scope of ['record', 'upload'] as const) await store.players.giveConsent(coach, id, scope, 'player');
      playerIds.push(id);
    }
    const keys: string[] = [];
    for (let index = 0; index < courtCount; index++) keys.push((await store.courts.make(`Court ${index + 1}`)).key);
    const hubs = await Promise.all([0, 1].map((index) => HubProcess.start(path.join(folder, `hub-${index}`), address)));
    children.push(...hubs.map(({ child }) => child));
    for (const { url } of hubs) pages.push(await LoadPage.open(url));
    const courts = forked(new URL('../helpers/load-courts.ts', import.meta.url), []);
    children.push(courts);
    await once(courts, 'message');
    const sizeBefore = await databaseBytes(cluster, database);
    const cpuBefore = cpuSeconds(cluster, hubs);
    const order: LoadOrder = {
      ...{ playerIds, everyS, lastsS, rampS: Math.max(1, rampWholeS * scale), nowS: systemClock.nowS() },
      courts: keys.map((key, index) => ({ key, name: `Court ${index + 1}`, url: hubs[index % 2]?.url ?? '' })),
    };
    say(`${courtCount} courts shoot for ${lastsS} s`);
    courts.send(order);
    const [report] = (await once(courts, 'message')) as [LoadReport];
    say(`${report.shots} shots are handed over`);
    const endMs = performance.now() + patienceS * 1000;
    while (pages.some(({ delaysMs }) => delaysMs.size < report.shots) && performance.now() < endMs) await pause(100);
    const cpu = cpuSeconds(cluster, hubs);
    const bytes = (await databaseBytes(cluster, database)) - sizeBefore;
    const [counted] = await cluster.run(
      database,
      `select count(*) as shots, count(distinct told_id) as names, (select count(*) from shot_result) as results from shot`,
    );
    const { shots, names, results } = (counted?.rows[0] ?? {}) as Record<'shots' | 'names' | 'results', string>;
    await store.close();
    const delays = pages.map(({ delaysMs }) => [...delaysMs.values()].sort((a, b) => a - b));
    const share = (of: readonly number[] | undefined, part: number) =>
      of?.[Math.min(of.length - 1, Math.floor(part * of.length))] ?? Number.POSITIVE_INFINITY;
    const perShotMs = (used: number, before: number) => (1000 * (used - before)) / report.shots;
    const [first, second] = delays;
    return {
      courts: courtCount,
      lastedS: lastsS,
      shotsPerS: report.shots / lastsS,
      shots: report.shots,
      delayMsMedian: [share(first, 0.5), share(second, 0.5)],
      delayMsP99: [share(first, 0.99), share(second, 0.99)],
      delayMsWorst: [share(first, 1), share(second, 1)],
      cpuMsAShot: {
        hubs: perShotMs(cpu.hubs, cpuBefore.hubs),
        postgres: perShotMs(cpu.postgres, cpuBefore.postgres),
        courts: (1000 * report.cpuS) / report.shots,
      },
      databaseBytesAShot: bytes / report.shots,
      databaseGigabytesAMillionShots: bytes / report.shots / 1000,
      requestsSentAgain: report.failed,
      refused: [...report.refused],
      goals: [
        goal('shots that the hub lacks', report.shots - Number(shots), { atMost: 0 }),
        goal('shots that the hub has twice', Number(shots) - Number(names), { atMost: 0 }),
        goal('results beside one a shot', Math.abs(Number(results) - Number(shots)), { atMost: 0 }),
        goal('documents that were not taken', report.refused.length, { atMost: 0 }),
        goal('shots that the page at the first process was not told', report.shots - (first?.length ?? 0), {
          atMost: 0,
        }),
        goal('shots that the page at the second process was not told', report.shots - (second?.length ?? 0), {
          atMost: 0,
        }),
        goal('shots told to a page under two numbers', pages[0]?.again ?? 0, { atMost: 0 }),
        goal('p99 from final shot to the page at the second process, s', share(second, 0.99) / 1000, {
          atMost: scale < 1 ? 60 : 1,
        }),
      ],
    };
  } finally {
    for (const page of pages) page.close();
    for (const child of children) child.kill('SIGKILL');
    await removeCluster(cluster);
    rmSync(folder, { recursive: true, force: true });
  }
}

/** A coach's page: when it was told of each shot. */
class LoadPage {
  readonly delaysMs = new Map<string, number>();
  again = 0;
  readonly #socket: WebSocket;

  private constructor(socket: WebSocket) {
    this.#socket = socket;
    socket.on('message', (data) => {
      const nowNs = process.hrtime.bigint();
      const document = JSON.parse(String(data)) as LiveDocument;
      if (document.kind !== 'shot') return;
      const atNs = /^load\.\d+\.\d+\.(\d+)$/.exec(document.shotId)?.[1];
      if (atNs === undefined) return;
      if (this.delaysMs.has(document.shotId)) this.again += 1;
      else this.delaysMs.set(document.shotId, Number(nowNs - BigInt(atNs)) / 1e6);
    });
  }

  static async open(url: string): Promise<LoadPage> {
    const socket = new WebSocket(new URL('/api/live', url.replace('http', 'ws')));
    const page = new LoadPage(socket);
    await once(socket, 'open');
    return page;
  }

  close(): void {
    this.#socket.terminate();
  }
}

async function databaseBytes(cluster: PostgresCluster, database: string): Promise<number> {
  const [found] = await cluster.run(database, `select pg_database_size(current_database())::float8 as bytes`);
  return Number(found?.rows[0].bytes);
}

/** Seconds of processor time that the processes have used so far; 0 where /proc does not tell. */
function cpuSeconds(cluster: PostgresCluster, hubs: readonly HubProcess[]): { hubs: number; postgres: number } {
  if (!existsSync('/proc/self/stat')) return { hubs: 0, postgres: 0 };
  const server = Number(readFileSync(path.join(cluster.folder, 'data', 'postmaster.pid'), 'utf8').split('\n')[0]);
  let postgres = 0;
  for (const name of readdirSync('/proc').filter((each) => /^\d+$/.test(each))) {
    const used = statOf(Number(name));
    if (used && (Number(name) === server || used.parent === server)) postgres += used.seconds;
  }
  return { postgres, hubs: hubs.reduce((sum, { child }) => sum + (statOf(child.pid ?? 0)?.seconds ?? 0), 0) };
}

/** proc(5): user and system time in ticks, of which Linux tells a hundred a second. */
function statOf(pid: number): { readonly parent: number; readonly seconds: number } | null {
  try {
    const fields = readFileSync(`/proc/${pid}/stat`, 'utf8')
      .replace(/^.*\) /s, '')
      .split(' ');
    return { parent: Number(fields[1]), seconds: (Number(fields[11]) + Number(fields[12])) / 100 };
  } catch {
    return null;
  }
}
