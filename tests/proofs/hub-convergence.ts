import type { ChildProcess } from 'node:child_process';
import { createHash } from 'node:crypto';
import { once } from 'node:events';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import WebSocket from 'ws';
import { drillLibrary } from '../../src/coaching/drills.ts';
import { systemClock } from '../../src/devices/system-clock.ts';
import { databaseFile, recordingsFolder } from '../../src/server/practice/practice-keeper.ts';
import type { LiveDocument } from '../../src/server/wire/live-document.ts';
import { ClubStore } from '../../src/sessions/database/club-store.ts';
import { Random } from '../../src/simulate/random.ts';
import type { CourtOrder, CourtReport } from '../helpers/court-process.ts';
import { forked, HubProcess } from '../helpers/forked-hub.ts';
import { hasPostgres, noPostgres, removeCluster, startCluster } from '../helpers/postgres-cluster.ts';
import { handRecordedPractices } from '../helpers/recording-court.ts';
import { UnrulyLink } from '../helpers/unruly-link.ts';
import { workWithKills } from '../helpers/work-with-kills.ts';
import { rowsOf } from '../sessions/hub/court-and-hub.ts';
import { goal, type ProofContext, type ProofFigures } from './proof.ts';

const courtNames = ['North', 'South', 'East', 'West'] as const;
const shotsOfCourt = 400;
const pauseMs = 250;
const longestWaitS = 600;

/**
 * Four courts, two processes of a hub, one PostgreSQL. Everything goes wrong that can: a court's link is cut, a hub is killed
 * (SIGKILL), PostgreSQL is started anew, answers are lost, requests come late, twice and in another order. Afterwards the hub holds
 * every shot of every court once, field by field as the court has it, and every page was told the same under the same number.
 */
export async function prove({ seed, scale, say }: ProofContext): Promise<ProofFigures> {
  if (!hasPostgres) return { skipped: noPostgres };
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-hub-'));
  const cluster = await startCluster();
  const address = cluster.address(await cluster.createDatabase('hub'));
  const children: ChildProcess[] = [];
  const links: UnrulyLink[] = [];
  const pages: Page[] = [];
  try {
    const store = await ClubStore.open({ address, nowS: () => systemClock.nowS() });
    const keys = await Promise.all(courtNames.map(async (name) => (await store.courts.make(name)).key));
    const hubs = await Promise.all([0, 1].map((index) => HubProcess.start(path.join(folder, `hub-${index}`), address)));
    children.push(...hubs.map(({ child }) => child));
    for (const hub of hubs) pages.push(new Page(hub));
    const random = new Random(seed('network'));
    const courts = await Promise.all(
      courtNames.map(async (name, index) => {
        const link = await UnrulyLink.open(
          () => hubs.map(({ port }) => port),
          () => random.between(0, 1),
        );
        links.push(link);
        const dataFolder = path.join(folder, name);
        const words = [dataFolder, link.address, keys[index] ?? '', String(seed(name)), name];
        return Court.start(name, dataFolder, link, words);
      }),
    );
    children.push(...courts.map(({ child }) => child));
    const count = Math.max(24, Math.ceil(shotsOfCourt * scale));
    const startedMs = performance.now();
    for (const { child } of courts) send(child, { kind: 'shoot', count, pauseMs });
    const shotBy = (share: number) => until(() => courts.every(({ shots }) => shots >= count * share));

    await shotBy(0.15);
    (courts[1] as Court).link.isCut = true;
    say(`the link of ${courtNames[1]} is cut`);
    const taggingHubs = tagOnHub(store, random);
    await shotBy(0.35);
    const killed = hubs[0] as HubProcess;
    await killed.kill();
    say('one process of the hub is killed');
    await shotBy(0.5);
    await killed.startAgain();
    children.push(killed.child);
    say('it is started again');
    await shotBy(0.6);
    await cluster.stop('fast');
    say('PostgreSQL is stopped');
    await pause(2000);
    await cluster.start();
    say('it is started again');
    await shotBy(0.75);
    await cluster.stop('immediate');
    await cluster.start();
    say('PostgreSQL was ended as by a crash and started again');
    await shotBy(0.9);
    (courts[1] as Court).link.isCut = false;
    const backMs = performance.now();
    say(`the link of ${courtNames[1]} is there again`);
    await shotBy(1);
    const tagged = await taggingHubs();
    for (const { child } of courts) send(child, { kind: 'end' });
    await until(() => courts.every(({ state }) => state?.waiting === 0 && state.handed));
    const caughtUpS = (performance.now() - backMs) / 1000;
    say('everything is handed over; recordings are gone through again');
    const key = (await store.courts.make('Fifth')).key;
    const fifth = await handRecordedPractices({
      ...{ name: 'Fifth', dataFolder: path.join(folder, 'fifth'), hubAddress: hubs[1]?.url ?? '', key },
      ...{ seed: `practice ${seed('practice')}`, sessions: scale < 1 ? 2 : 6, sessionS: scale < 1 ? 120 : 600 },
    });
    const worked = await workWithKills(store, cluster, address, say);
    say('all requests once more, in any order');
    await Promise.all(
      links.map((link) => {
        link.unrest = 0;
        return link.sendAgain([...link.held, ...link.held].sort(() => random.between(-1, 1)));
      }),
    );
    // The courts have handed over everything, and have heard everything that the hub has for them.
    await until(async () => {
      const left = await Promise.all(
        courts.map(async ({ state }) => {
          if (state === null) return 1;
          const { upTo } = await store.hub.forCourt(state.told, 1);
          return state.waiting + (upTo - state.told);
        }),
      );
      return left.every((count) => count === 0);
    });
    const changes = await store.hub.latestChanges(5000);
    const lastSeq = changes.findLast(({ entity }) => entity === 'shot')?.seq ?? 0;
    await until(() => pages.every(({ lastSeq: seen }) => seen >= lastSeq));

    const hubRows = await rowsOf(store);
    const found = {
      shots: 0,
      rows: 0,
      missing: 0,
      different: 0,
      extra: 0,
      told: 0,
      notTold: 0,
      withheld: 0,
      recordings: 0,
      wrongRecordings: 0,
    };
    const known = new Set<string>();
    const jobResults = await store.context.db.selectFrom('job_result').select(['shot_id', 'result_id']).execute();
    const analysed = new Set(jobResults.map(({ shot_id }) => shot_id));
    const ofJobs = new Set(jobResults.map(({ result_id }) => `shot_result ${result_id}`));
    const withoutCurrent = (name: string, row: Record<string, unknown>) =>
      name.startsWith('shot_result ') && analysed.has(String(row.shot_id))
        ? { ...row, is_current: 'of the later' }
        : row;
    for (const court of [...courts, { ...fifth, stop: async () => {} }]) {
      await court.stop();
      const courtStore = await ClubStore.open({
        file: path.join(court.dataFolder, databaseFile),
        nowS: () => systemClock.nowS(),
      });
      const rows = await rowsOf(courtStore);
      const withheld = await withheldRows(courtStore);
      for (const [name, row] of rows) {
        if (withheld.has(name)) {
          found.withheld += 1;
          if (hubRows.has(name)) found.extra += 1;
          continue;
        }
        known.add(name);
        found.rows += 1;
        if (name.startsWith('shot ')) found.shots += 1;
        const there = hubRows.get(name);
        const other = there && withoutCurrent(name, there);
        const expected = withoutCurrent(
          name,
          name.startsWith('shot ') && withheld.has(`shot_set ${row.set_id}`) ? { ...row, set_id: null } : row,
        );
        if (other === undefined) found.missing += 1;
        else if (JSON.stringify(sorted(other)) !== JSON.stringify(sorted(expected))) found.different += 1;
        if (
          other !== undefined &&
          JSON.stringify(sorted(other)) !== JSON.stringify(sorted(expected)) &&
          found.different < 4
        )
          say(
            `${court.name}: ${name}: hub ${JSON.stringify(sorted(other))}, court ${JSON.stringify(sorted(expected))}`,
          );
      }
      // The fifth court has stopped before the others were told everything.
      for (const [name, row] of court.name === fifth.name ? [] : hubRows) {
        if (!heldByAll.test(name)) continue;
        found.told += 1;
        const here = rows.get(name);
        if (here !== undefined && JSON.stringify(sorted(here)) === JSON.stringify(sorted(row))) continue;
        found.notTold += 1;
        if (found.notTold < 4) say(`${court.name}: ${name}: hub ${JSON.stringify(row)}, court ${JSON.stringify(here)}`);
      }
      for (const session of await courtStore.sessions.withRecordings()) {
        if (!(await courtStore.hub.mayHandRecording(session.id))) continue;
        found.recordings += 1;
        const content = readFileSync(path.join(court.dataFolder, recordingsFolder, session.recording ?? ''));
        const hash = createHash('sha256');
        for await (const piece of store.handedRecordings.pieces(session.id)) hash.update(piece);
        if (hash.digest('hex') !== createHash('sha256').update(content).digest('hex')) found.wrongRecordings += 1;
      }
      await courtStore.close();
    }
    const currents = new Map<string, number>();
    for (const [name, row] of hubRows) {
      if (name.startsWith('shot_result ') && row.is_current === 1) {
        currents.set(String(row.shot_id), (currents.get(String(row.shot_id)) ?? 0) + 1);
      }
    }
    const isFound = (name: string) => name.startsWith('shot ') && analysed.has(name.slice('shot '.length));
    found.extra += [...hubRows.keys()].filter((name) => !known.has(name) && !ofJobs.has(name) && !isFound(name)).length;
    const addedByJobs = [...hubRows.keys()].filter((name) => !known.has(name) && isFound(name)).length;
    const shotRows = [...hubRows].filter(([name]) => name.startsWith('shot '));
    // Of what was imported no page was told live.
    const toldShots = shotRows.filter(([, { told_id }]) => told_id !== null);
    const toldTwice = toldShots.length - new Set(toldShots.map(([, row]) => row.told_id)).size;
    const [one, other] = pages as [Page, Page];
    const differing = [...one.texts].filter(([seq, text]) => (other.texts.get(seq) ?? text) !== text).length;
    const untold = pages.map((page) => toldShots.filter(([, row]) => !page.shots.has(String(row.told_id))).length);
    const counts = links.map(({ counts: each }) => each);
    const sum = (key: keyof UnrulyLink['counts']) => counts.reduce((total, each) => total + each[key], 0);
    const parked = courts.reduce((total, { state }) => total + (state?.parked ?? 0), 0);
    await store.close();
    return {
      courts: courts.length,
      hubProcesses: hubs.length,
      shotsOnHub: shotRows.length,
      rowsCompared: found.rows,
      rowsWithheld: found.withheld,
      rowsOfCoachingOnTheHub: [...hubRows.keys()].filter((name) => coachingRow.test(name)).length,
      rowsComparedOnCourtsToo: found.told,
      recordingsCompared: found.recordings,
      reasonsPutAside: courts.flatMap(({ state }) => state?.reason ?? []),
      recordingsGoneThrough: worked.done,
      workersKilled: worked.kills,
      piecesBegunAgain: worked.begunAgain,
      shotsOfThem: fifth.shotCount,
      changesOnHub: tagged,
      requestsAnswered: sum('forwarded'),
      requestsLate: sum('late'),
      answersLost: sum('answersLost'),
      requestsRepeatedMeanwhile: sum('repeated'),
      requestsRefusedByCut: sum('cut'),
      requestsSentAgainAtTheEnd: 2 * links.reduce((total, { held }) => total + held.length, 0),
      caughtUpAfterCutS: caughtUpS,
      lastedS: (performance.now() - startedMs) / 1000,
      goals: [
        goal('things that the hub would not take', parked, { atMost: 0 }),
        goal('recordings not gone through', worked.left, { atMost: 0 }),
        goal('pieces of work taken over from a killed worker', worked.begunAgain, { atLeast: 1 }),
        goal(
          'shots without exactly one current result',
          shotRows.filter(([, { id }]) => currents.get(String(id)) !== 1).length,
          {
            atMost: 0,
          },
        ),
        goal('results of jobs beside one a shot and version', Math.abs(jobResults.length - analysed.size), {
          atMost: 0,
        }),
        goal('shots of the recordings that were not found again', fifth.shotCount - worked.again, { atMost: 0 }),
        goal('shots that the same analysis found in addition', addedByJobs, { atMost: 0 }),
        goal('rows of courts that the hub lacks', found.missing, { atMost: 0 }),
        goal('rows that differ in a field', found.different, { atMost: 0 }),
        goal('rows on the hub that no court has handed over', found.extra, { atMost: 0 }),
        goal('rows compared of what every court is told', found.told, { atLeast: courts.length }),
        goal('rows of it that a court lacks, or has otherwise', found.notTold, { atMost: 0 }),
        goal('shots that the hub has twice', toldTwice, { atMost: 0 }),
        goal('shots on the hub', toldShots.length, { atLeast: courts.length * count * 0.4 }),
        goal('recordings that differ', found.wrongRecordings, { atMost: 0 }),
        goal('documents of one number that two processes told differently', differing, { atMost: 0 }),
        goal('shots that the page of the one process was not told', untold[0] ?? 0, { atMost: 0 }),
        goal('shots that the page of the other process was not told', untold[1] ?? 0, { atMost: 0 }),
      ],
    };
  } finally {
    for (const page of pages) page.close();
    for (const child of children) child.kill('SIGKILL');
    for (const link of links) await link.close();
    await removeCluster(cluster);
    rmSync(folder, { recursive: true, force: true });
  }
}

function send(child: ChildProcess, order: CourtOrder): void {
  child.send(order);
}

async function until(holds: () => boolean | Promise<boolean>): Promise<void> {
  const endMs = performance.now() + longestWaitS * 1000;
  while (!(await holds())) {
    if (performance.now() > endMs) throw new Error(`not so after ${longestWaitS} s: ${holds}`);
    await pause(100);
  }
}

const courtScript = new URL('../helpers/court-process.ts', import.meta.url);

class Court {
  shots = 0;
  state: Extract<CourtReport, { kind: 'state' }> | null = null;
  readonly name: string;
  readonly dataFolder: string;
  readonly link: UnrulyLink;
  readonly child: ChildProcess;

  private constructor(name: string, dataFolder: string, link: UnrulyLink, words: readonly string[]) {
    this.name = name;
    this.dataFolder = dataFolder;
    this.link = link;
    this.child = forked(courtScript, words);
  }

  static async start(name: string, dataFolder: string, link: UnrulyLink, words: readonly string[]): Promise<Court> {
    const court = new Court(name, dataFolder, link, words);
    await new Promise<void>((resolve, reject) => {
      court.child.on('exit', (code) => reject(new Error(`the court ${name} ended with ${code}`)));
      court.child.on('message', (message: CourtReport | { kind: 'ready' }) => {
        if (message.kind === 'ready') resolve();
        else if (message.kind === 'shot') court.shots += 1;
        else court.state = message;
      });
    });
    return court;
  }

  async stop(): Promise<void> {
    const gone = once(this.child, 'exit');
    this.child.kill('SIGKILL');
    await gone;
  }
}

/** A coach's page at one process of the hub, which comes back where it broke off. */
class Page {
  lastSeq = 0;
  readonly texts = new Map<number, string>();
  readonly shots = new Set<string>();
  readonly #hub: HubProcess;
  #socket: WebSocket | null = null;
  #isClosed = false;

  constructor(hub: HubProcess) {
    this.#hub = hub;
    this.#open();
  }

  close(): void {
    this.#isClosed = true;
    this.#socket?.terminate();
  }

  #open(): void {
    if (this.#isClosed) return;
    const url = new URL(`/api/live?since=${this.lastSeq}`, this.#hub.url.replace('http', 'ws'));
    const socket = new WebSocket(url);
    this.#socket = socket;
    socket.on('error', () => {});
    socket.on('close', () => setTimeout(() => this.#open(), 200));
    socket.on('message', (data) => {
      const document = JSON.parse(String(data)) as LiveDocument;
      if (document.kind !== 'shot' && document.kind !== 'change') return;
      this.lastSeq = Math.max(this.lastSeq, document.seq);
      if (document.kind !== 'shot') return;
      this.texts.set(document.seq, JSON.stringify(sorted(document)));
      this.shots.add(document.shotId);
    });
  }
}

/** A coach at the hub who says what became of shots, and sets bands and drills for players of all courts, now and then. @returns ends it; gives how many. */
function tagOnHub(store: ClubStore, random: Random): () => Promise<number> {
  const coach = { role: 'coach', name: 'Coach at the hub' } as const;
  let isOver = false;
  let count = 0;
  const work = (async () => {
    while (!isOver) {
      await pause(400);
      try {
        const shots = await store.shots.list({ limit: 1000 });
        const shot = shots[Math.floor(random.between(0, shots.length))];
        if (!shot) continue;
        const outcome = random.between(0, 1) < 0.5 ? ('make' as const) : ('miss' as const);
        await store.shots.tag(coach, [shot.id], { outcome });
        count += 1;
        const players = await store.players.list();
        const player = players[Math.floor(random.between(0, players.length))];
        if (!player) continue;
        const low = random.between(0, 1);
        const words = low < 0.3 ? null : { target: null, low, high: null };
        await store.coaching.setTarget(coach, player.id, low < 0.6 ? 'dipDepthM' : 'pauseS', words);
        count += 1;
        if (low < 0.8) continue;
        await store.prescriptions.add(coach, {
          ...{ playerId: player.id, fault: 'late-dip', drill: drillLibrary[0]!, measure: 'dipDepthM', faultSide: 1 },
          ...{ smallestChange: 0.02, namedS: systemClock.nowS(), retentionDueS: null, notes: 'of the hub' },
        });
        count += 1;
      } catch {
        // PostgreSQL is away, or the shot was taken back.
      }
    }
  })();
  return async () => {
    isOver = true;
    await work;
    return count;
  };
}

const coachingRow =
  /^(player_target|best_set|own_drill|prescription|proof_block|load_entry|study|study_set|rotation|rotation_player|sensor_calibration) /;
/** What a hub tells its courts whole: there it is as on the hub, for every player that the hub knows. */
const heldByAll = /^(player_target|own_drill|prescription|load_entry|study|sensor_calibration) /;

/** @returns rows of those who did not agree, which the hub must not have. */
async function withheldRows(store: ClubStore): Promise<ReadonlySet<string>> {
  const names = new Set<string>();
  const silent = new Set<string>();
  for (const { id } of await store.players.list()) {
    const consents = await store.players.consents(id);
    if (consents.some(({ scope, withdrawn_s }) => scope === 'upload' && withdrawn_s === null)) continue;
    silent.add(id);
    names.add(`player ${id}`);
    for (const consent of consents) names.add(`consent ${consent.id}`);
    for (const session of await store.sessions.list({ limit: 1000 })) {
      for (const set of await store.sessions.sets(session.id))
        if (set.player_id === id) names.add(`shot_set ${set.id}`);
    }
    for (const shot of await store.shots.all({ playerId: id })) names.add(`shot ${shot.id}`);
  }
  const rows = await rowsOf(store);
  for (const [name, row] of rows) {
    // What several players are in is held back for each of them.
    if (name.startsWith('rotation_player ') && silent.has(String(row.player_id)))
      names.add(`rotation ${row.rotation_id}`);
    const isOfOne =
      /^(player_target|best_set|prescription|load_entry) /.test(name) && silent.has(String(row.player_id));
    const isOfSeveral = name.startsWith('study ') && [...silent].some((id) => String(row.design).includes(id));
    if (isOfOne || isOfSeveral) names.add(name);
  }
  const hangsOn = {
    shot: 'shot_id',
    shot_set: 'set_id',
    prescription: 'prescription_id',
    study: 'study_id',
    rotation: 'rotation_id',
  };
  for (const [name, row] of rows) {
    if (name.startsWith('shot ')) continue;
    if (Object.entries(hangsOn).some(([table, column]) => names.has(`${table} ${row[column]}`))) names.add(name);
  }
  return names;
}

/** The same whatever the order of keys. */
function sorted(value: unknown): unknown {
  if (typeof value !== 'object' || value === null || Array.isArray(value)) return value;
  return Object.fromEntries(
    Object.entries(value)
      .sort(([one], [other]) => (one < other ? -1 : 1))
      .map(([key, inside]) => [key, sorted(inside)]),
  );
}
