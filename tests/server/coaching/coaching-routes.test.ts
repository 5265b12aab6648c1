import type { FastifyInstance, InjectOptions } from 'fastify';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { silentLogger } from '../../../src/foundation/logger.ts';
import { measured } from '../../../src/foundation/measured.ts';
import { buildServer } from '../../../src/server/build-server.ts';
import { LiveWatch } from '../../../src/server/coaching/live-watch.ts';
import { LiveHub } from '../../../src/server/live-hub.ts';
import { PracticeKeeper } from '../../../src/server/practice/practice-keeper.ts';
import { ShotLog } from '../../../src/server/shot-log.ts';
import type { WireFinding } from '../../../src/server/wire/coaching-document.ts';
import { defaultBallSettings, type Shot } from '../../../src/shots/shot.ts';
import { Random } from '../../../src/simulate/random.ts';
import { ManualClock } from '../../devices/manual-clock.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import { descriptionBytes, sensorId } from '../../sessions/recording/made-recording.ts';
import { madeShot, shotDocument } from '../made-shots.ts';

const startS = 1_764_000_000;
const dayS = 86_400;

let server: FastifyInstance;
let keeper: PracticeKeeper;
let clock: ManualClock;
let dataFolder: string;

async function open(): Promise<void> {
  const practice = { dataFolder, clock, logger: silentLogger, simulated: true, settings: defaultBallSettings };
  keeper = await PracticeKeeper.open(practice);
  const hub = new LiveHub({
    ...{ log: new ShotLog(), clock, version: '1.2.3', runId: 'run1', simulated: true, latestShotCount: 50 },
  });
  server = await buildServer({
    ...{ hub, pageFolder: '/nowhere', port: 8650, logger: silentLogger },
    practice: { keeper: async () => keeper, nowS: () => clock.nowS(), logger: silentLogger },
  });
}

beforeEach(async () => {
  clock = new ManualClock(startS);
  dataFolder = temporaryFolder();
  await open();
});
afterEach(close);

async function close(): Promise<void> {
  await server.close();
  await keeper.close();
}

type Method = 'GET' | 'POST' | 'PATCH' | 'PUT';

async function ask(method: Method, url: string, body?: object) {
  const request: InjectOptions = { method, url, headers: { host: '127.0.0.1:8650' } };
  const answer = await server.inject(body === undefined ? request : { ...request, payload: body });
  return { status: answer.statusCode, body: answer.body === '' ? null : answer.json() };
}

async function done(method: Method, url: string, body?: object) {
  const answer = await ask(method, url, body);
  expect(answer.status, JSON.stringify(answer.body)).toBeLessThan(300);
  return answer.body;
}

async function addPlayer(pseudonym: string, ageBand = 'adult'): Promise<string> {
  const { id } = await done('POST', '/api/players', { pseudonym, ageBand, by: 'Coach A' });
  await done('POST', `/api/players/${id}/consents`, { scope: 'record', givenByRole: 'parent' });
  return id;
}

let shotCount = 0;

/** Lets the player's sensor see shots that lean by so much. */
async function shoot(playerId: string, count: number, tiltDeg: number, change: Partial<Shot> = {}): Promise<void> {
  if (keeper.sessionId === null) {
    keeper.takeState({
      sensorId,
      state: 'streaming',
      hostTimeS: clock.nowS(),
      description: descriptionBytes,
      detail: null,
    });
    await keeper.refreshConsents();
  }
  const random = new Random(`coaching routes ${shotCount}`);
  for (let i = 0; i < count; i++) {
    clock.jump(12);
    const made = madeShot(shotCount, 'final', change);
    const measures = { ...made.measures, axisTiltDeg: measured(tiltDeg + random.normal(0, 1.5), 0.4) };
    const document = { ...shotDocument(shotCount++), sensorId, hostTimeS: clock.nowS(), shot: { ...made, measures } };
    const kept = await keeper.keep(document, { streamIndex: 0 });
    expect(kept.isKept).toBe(true);
    if (kept.playerId == null) {
      const { shots } = await done('GET', '/api/sessions/current/shots?limit=2000');
      await done('POST', '/api/shots/assign', { which: { shotIds: [shots.at(-1).id] }, playerId });
    }
  }
}

const named = (findings: readonly WireFinding[]) =>
  findings.flatMap(({ name, state }) => (state === 'named' ? [name] : []));

describe('what is seen of a player', () => {
  it('names the fault in words with its drills, from the store alone, also after a restart', async () => {
    const playerId = await addPlayer('Player 01');
    expect(await done('GET', `/api/players/${playerId}/coaching`)).toMatchObject({ sessionId: null, findings: [] });
    await shoot(playerId, 12, 14);
    const seen = await done('GET', `/api/players/${playerId}/coaching`);
    expect(seen).toMatchObject({ shots: 12, places: ['ball'] });
    expect(named(seen.findings)).toEqual(['side-flick']);
    const [finding] = seen.findings;
    expect(finding.drills).toContain('two-finger-release');
    expect(finding.saw[0]).toMatch(/^Lean of the spin axis: 1[345]° /);
    expect(finding.seenBy.join(' ')).toContain('in the ball');
    expect(finding.otherExplanations.length).toBeGreaterThan(0);
    const sessionId = seen.sessionId;
    await close();
    await open();
    const again = await done('GET', `/api/players/${playerId}/coaching?sessionId=${sessionId}`);
    expect(again.findings).toEqual(seen.findings);
  });

  it('goes by the newest analysis of the shots, and forgets shots that were given to another player', async () => {
    const playerId = await addPlayer('Player 21');
    const other = await addPlayer('Player 22');
    await shoot(playerId, 12, 14);
    expect(named((await done('GET', `/api/players/${playerId}/coaching`)).findings)).toEqual(['side-flick']);
    const shots = await keeper.store.shots.all({ playerId });
    for (const [i, { id, result }] of shots.entries()) {
      const measures = { ...result.shot.measures, axisTiltDeg: measured(1 + 0.2 * (i % 5), 0.4) };
      const again = { shot: { ...result.shot, measures }, analysisVersion: '2', parameters: {} };
      await keeper.store.shots.addResult(id, again);
    }
    expect(named((await done('GET', `/api/players/${playerId}/coaching`)).findings)).toEqual([]);
    await done('POST', '/api/shots/assign', { which: { shotIds: shots.map(({ id }) => id) }, playerId: other });
    expect(await done('GET', `/api/players/${playerId}/coaching`)).toMatchObject({ sessionId: null, shots: 0 });
  });

  it('calls nothing a fault under ten', async () => {
    const playerId = await addPlayer('Player 02', 'under-10');
    await shoot(playerId, 12, 25);
    const seen = await done('GET', `/api/players/${playerId}/coaching`);
    expect(seen.findings).toEqual([]);
    expect(seen.notes).toContain('At this age nothing is called a fault.');
  });

  it('goes by bands that were set by hand, or by the best sets', async () => {
    const playerId = await addPlayer('Player 03');
    await shoot(playerId, 1, 8);
    const sets: string[] = [];
    for (let i = 0; i < 2; i++) {
      const { id } = await done('POST', '/api/sessions/current/sets', { playerId });
      sets.push(id);
      await shoot(playerId, 11, 8);
      await done('PATCH', `/api/sets/${id}`, { ended: true });
    }
    expect(named((await done('GET', `/api/players/${playerId}/coaching`)).findings)).toContain('side-flick');
    await done('PATCH', `/api/sets/${sets[1]}`, { total: { made: 7, attempted: 11 } });
    const listed = await done('GET', `/api/players/${playerId}/sets`);
    expect(listed.sets).toMatchObject([
      { id: sets[1], shots: 11, made: { makes: 7, attempts: 11 } },
      { id: sets[0], shots: 11, made: null },
    ]);
    const own = await done('PUT', `/api/players/${playerId}/best-sets`, { setIds: sets });
    expect(own.bands.find(({ measure }: { measure: string }) => measure === 'axisTiltDeg')).toMatchObject({
      from: 'own-best-sets',
    });
    expect(named((await done('GET', `/api/players/${playerId}/coaching`)).findings)).toEqual([]);
    await done('PUT', `/api/players/${playerId}/targets/axisTiltDeg`, { band: { low: -2, high: 2 } });
    expect(named((await done('GET', `/api/players/${playerId}/coaching`)).findings)).toEqual(['side-flick']);
    await done('PUT', `/api/players/${playerId}/targets/axisTiltDeg`, { band: null });
    const targets = await done('GET', `/api/players/${playerId}/targets`);
    expect(targets.bestSetIds).toEqual(sets);
  });
});

describe('live', () => {
  it('tells a change once when a finding appears, again when it is put right, and never what it is', async () => {
    const playerId = await addPlayer('Player 04');
    const told: string[] = [];
    const watch = new LiveWatch({ store: keeper.store, logger: silentLogger, onChange: (id) => told.push(id) });
    await shoot(playerId, 1, 14);
    await done('POST', '/api/sessions/current/sets', { playerId });
    for (let i = 0; i < 12; i++) {
      await shoot(playerId, 1, 14);
      await watch.take(playerId, keeper.sessionId ?? '');
    }
    // Signs of it, then the name of it.
    expect(told.length).toBeGreaterThan(0);
    expect(told.length).toBeLessThanOrEqual(4);
    expect(new Set(told)).toEqual(new Set([keeper.sessionId]));
    const before = told.length;
    await watch.take(playerId, keeper.sessionId ?? '');
    expect(told.length).toBe(before);
  });

  it('goes on from the store where another watch begins', async () => {
    const playerId = await addPlayer('Player 05');
    await shoot(playerId, 12, 14);
    const told: string[] = [];
    const watch = new LiveWatch({ store: keeper.store, logger: silentLogger, onChange: (id) => told.push(id) });
    await watch.take(playerId, keeper.sessionId ?? '');
    expect(told).toEqual([keeper.sessionId]);
  });
});

async function proofOf(playerId: string, after: number) {
  await shoot(playerId, 1, 12);
  const words = { fault: 'side-flick', drill: 'two-finger-release', faultSide: 1, by: 'Coach A' };
  const { id } = await done('POST', `/api/players/${playerId}/prescriptions`, words);
  const block = async (role: string, tiltDeg: number) => {
    clock.jump(dayS);
    const { blocks } = await done('POST', `/api/prescriptions/${id}/blocks`, { role, spot: 'line', distanceM: 4.6 });
    await shoot(playerId, 15, tiltDeg);
    return done('PATCH', `/api/blocks/${blocks.at(-1).id}`, { ended: true });
  };
  for (const level of [12, 12.6, 11.5, 12.2]) await block('baseline', level);
  await block('drill', 8);
  let last = await block('retest', after);
  for (const off of [0.5, -0.4, 0.2]) last = await block('retest', after + off);
  return { id, last, block };
}

describe('the proof of a drill', () => {
  it('is baseline, drill, re-test, and says changed, with a plan before it says anything', async () => {
    const playerId = await addPlayer('Player 06');
    const { last, block } = await proofOf(playerId, 3);
    expect(last.verdict).toMatchObject({ verdict: 'changed', baselineDays: 4, retestDays: 4 });
    expect(last.verdict.sentence).toContain('It changed for the better.');
    expect(last.verdict.change).toBeGreaterThan(-11);
    expect(last.verdict.change).toBeLessThan(-7);
    expect(last.plan).toMatchObject({ weeks: 0 });
    clock.jump(7 * dayS);
    let kept = last;
    for (const level of [3.2, 2.8, 3.4, 2.9]) kept = await block('retention', level);
    expect(kept.retention).toMatchObject({ state: 'kept' });
    expect(kept.blocks.map(({ shots }: { shots: number }) => shots)).toEqual(Array(13).fill(15));
  });

  it('is not changed by a drill that did nothing, and withheld from a player under fourteen', async () => {
    const playerId = await addPlayer('Player 07', '10-12');
    const { last } = await proofOf(playerId, 12.1);
    expect(['not-changed', 'not-enough']).toContain(last.verdict.verdict);
    expect(last.plan.audience).toBe('coach');
    expect(last.plan.caution).toContain('Never more shots today');
  });

  it('needs consent, an open prescription and a running practice', async () => {
    const playerId = await addPlayer('Player 08');
    const words = { fault: 'two-part', drill: 'up-at-once' };
    const { id, measure, faultSide } = await done('POST', `/api/players/${playerId}/prescriptions`, words);
    expect({ measure, faultSide }).toEqual({ measure: 'pauseS', faultSide: 1 });
    const early = await ask('POST', `/api/prescriptions/${id}/blocks`, { role: 'baseline' });
    expect(early).toMatchObject({ status: 409, body: { error: 'no-session' } });
    await shoot(playerId, 1, 0);
    await done('PATCH', `/api/prescriptions/${id}`, { ended: true });
    const closed = await ask('POST', `/api/prescriptions/${id}/blocks`, { role: 'baseline' });
    expect(closed).toMatchObject({ status: 400, body: { error: 'store-value' } });
    await done('POST', `/api/players/${playerId}/consents/record/withdraw`, {});
    const refused = await ask('POST', `/api/players/${playerId}/prescriptions`, words);
    expect(refused).toMatchObject({ status: 409, body: { error: 'no-consent' } });
  });
});

describe('drills', () => {
  const own = {
    title: 'Wall taps',
    forFaults: ['side-flick'],
    purpose: 'The ball turns straight.',
    setUp: 'A wall.',
    steps: ['Tap it.'],
    dose: { sets: 2, shotsASet: 10, daysAWeek: 2 },
    progressions: [],
    fromAge: 12,
    cautions: ['Stop at pain.'],
    moves: { measure: 'axisTiltDeg', side: 'less', by: 4 },
  };

  it('are those of the library with pictures and the coach’s own, which come first', async () => {
    const { id: _id, name } = { id: '', ...(await done('POST', '/api/drills', own)) };
    const { drills } = await done('GET', '/api/drills');
    expect(drills[0]).toMatchObject({ name, own: true, title: 'Wall taps' });
    expect(
      drills.find((drill: { name: string }) => drill.name === 'two-finger-release').picture.shapes.length,
    ).toBeGreaterThan(3);
    expect(await done('PATCH', `/api/drills/${name}`, { title: 'Wall taps, slow' })).toMatchObject({
      title: 'Wall taps, slow',
    });
    await done('PATCH', `/api/drills/${name}`, { retired: true });
    expect((await done('GET', '/api/drills')).drills.every((drill: { own: boolean }) => !drill.own)).toBe(true);
    const library = await ask('PATCH', '/api/drills/two-finger-release', { title: 'Mine' });
    expect(library.status).toBe(400);
  });
});

describe('load', () => {
  it('counts shots and minutes by day and week, what was told by hand among them, and cautions the young', async () => {
    const playerId = await addPlayer('Player 09', '13-15');
    await shoot(playerId, 20, 2);
    const date = new Date((startS - dayS) * 1000).toISOString().slice(0, 10);
    await done('PUT', `/api/players/${playerId}/load/${date}`, { load: { shots: 100, minutes: 130 } });
    const load = await done('GET', `/api/players/${playerId}/load`);
    expect(load).toMatchObject({ shotsToday: 20, shots7Days: 120, days7: 2 });
    expect(load.days).toMatchObject([
      { date, shotsByHand: 100 },
      { shots: 20, shotsByHand: 0 },
    ]);
    expect(load.cautions.map(({ code }: { code: string }) => code)).toContain('pain');
    const gone = await done('PUT', `/api/players/${playerId}/load/${date}`, { load: null });
    expect(gone.shots7Days).toBe(20);
  });
});

it('a practice as a whole: drift, spread, starts and range, each with a sentence', async () => {
  const playerId = await addPlayer('Player 11');
  await shoot(playerId, 1, 2, { startKind: 'catch' });
  for (const distanceM of [4, 5, 6]) {
    await done('POST', '/api/sessions/current/sets', { playerId, distanceM });
    await shoot(playerId, 6, 2, { startKind: 'catch' });
    await shoot(playerId, 6, 2, { startKind: 'hold' });
  }
  const study = await done('GET', `/api/players/${playerId}/sessions/current/study`);
  const of = (rows: { measure: string }[], name: string) => rows.find(({ measure }) => measure === name);
  expect(of(study.drift, 'axisTiltDeg')).toMatchObject({ direction: 'none-seen', shots: 37 });
  expect(of(study.consistency, 'axisTiltDeg')).toMatchObject({ shots: 37, reason: null });
  expect(study.tilt.meanDeg).toBeGreaterThan(1);
  expect(of(study.starts, 'axisTiltDeg')).toMatchObject({ answer: 'same', one: 'catch', two: 'hold' });
  expect(study.range.answer).toBe('open');
  expect(study.range.sentence).toContain('Range:');
});

describe('a study', () => {
  const plan = {
    ...{ name: 'hop or step', factor: 'footwork', levels: ['hop', 'one-two'], daysEach: 6, shotsASet: 5 },
    ...{ margins: { makes: 0.1 }, seed: 'fixed' },
  };

  it('is drawn by the program, covers its labels until it is closed, and answers in sentences', async () => {
    const playerId = await addPlayer('Player 12');
    await shoot(playerId, 1, 0);
    const made = await done('POST', '/api/studies', { ...plan, playerIds: [playerId], blinded: true });
    expect(made.levels).toBeNull();
    expect([...made.conditions].sort()).toEqual(['A', 'B']);
    expect(made.order).toHaveLength(6);
    const twin = await done('POST', '/api/studies', { ...plan, playerIds: [playerId] });
    expect(twin.order).toEqual(made.order);
    expect(await done('GET', `/api/studies/${made.id}/result`)).toMatchObject({ comparisons: [] });
    for (let row = 0; row < 6; row++) {
      clock.jump(dayS);
      for (let place = 0; place < 2; place++) {
        const { sets } = await done('POST', `/api/studies/${made.id}/sets`, { row });
        const { setId } = sets.find((set: { row: number; place: number }) => set.row === row && set.place === place);
        await done('PATCH', `/api/sets/${setId}`, {
          total: { made: 5 + ((row + place) % 3), attempted: 10 },
          ended: true,
        });
      }
    }
    const result = await done('GET', `/api/studies/${made.id}/result`);
    expect(result.sentences[0]).toMatch(/^Makes, “A” against “B”: /);
    expect(result.comparisons).toMatchObject([{ quantity: 'makes', design: 'within-days', units: 6 }]);
    expect(result.cannotAnswer.join(' ')).toContain('totals without single outcomes');
    expect(result.methods.length).toBeGreaterThan(2);
    const report = (audience: string) =>
      server.inject({
        url: `/api/studies/${made.id}/report?for=${audience}`,
        headers: { host: '127.0.0.1:8650' },
      });
    const covered = await report('researcher');
    expect(covered.headers['content-security-policy']).toContain("default-src 'none'");
    expect(covered.body).toContain('Makes, “A” against “B”: ');
    expect(covered.body).toContain('covered names until the study is closed');
    expect(covered.body).toContain('totals without single outcomes');
    expect(covered.body).not.toContain('one-two');
    const closed = await done('POST', `/api/studies/${made.id}/close`, {});
    expect((await report('parent')).body).toMatch(/class="lead">Makes[^<]*(hop|one-two)[^<]*(one-two|hop)/);
    expect((await report('coach')).body).toContain('Makes, “hop” against “one-two”: ');
    expect(closed.levels).toEqual(['hop', 'one-two']);
    const opened = await done('GET', `/api/studies/${made.id}/result`);
    expect(opened.sentences[0]).toMatch(/^Makes, “hop” against “one-two”: /);
    expect(await ask('POST', `/api/studies/${made.id}/sets`, { row: 0 })).toMatchObject({ status: 400 });
  });
});
