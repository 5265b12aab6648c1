import path from 'node:path';
import { beforeAll, expect, it } from 'vitest';
import { analyseRecording } from '../../../src/server/reanalysis/analyse-recording.ts';
import { type ReanalysisOptions, reanalyseSessions } from '../../../src/server/reanalysis/reanalyse-sessions.ts';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { RecordingWriter } from '../../../src/sessions/recording/recording-writer.ts';
import type { MergedShot } from '../../../src/shots/merge/merge-shots.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';
import { encodePairedPractice } from '../../../src/simulate/arm/wrist-encoded.ts';
import { drawWristPlan } from '../../../src/simulate/arm/wrist-plan.ts';
import { encodePractice } from '../../../src/simulate/encoded-practice.ts';
import { scenarioPractice } from '../../../src/simulate/scenarios.ts';
import { tempFolder } from '../../helpers/temp-folder.ts';
import { coach } from '../../sessions/database/opened-store.ts';

const folder = tempFolder();
let store: ClubStore;
const ids: string[] = [];

async function record(name: string, scenario: Parameters<typeof scenarioPractice>[0]): Promise<void> {
  const { description, sensor, chunks } = encodePractice(scenarioPractice(scenario, 3));
  const writer = await RecordingWriter.create(path.join(folder, name));
  let isFirst = true;
  for (const { notifications } of chunks) {
    for (const notification of notifications) {
      if (isFirst) await writer.describe(sensor.sensorId, description, notification.hostTimeS);
      isFirst = false;
      await writer.add(notification);
    }
  }
  await writer.close();
  const placement = { id: sensor.sensorId, placement: 'ball', description: '' };
  await store.players.seeSensor(placement);
}

beforeAll(async () => {
  store = await ClubStore.open({ file: path.join(folder, 'club.db'), nowS: () => 1_764_000_000 });
  await record('one.mcap', 'free-throw-swish');
  await record('two.mcap', 'catch-and-shoot-net');
  for (const recording of ['one.mcap', 'two.mcap', 'gone.mcap', null]) {
    const words = { name: '', timeZone: 'UTC', simulated: true, recording, settings: defaultBallSettings };
    const id = await store.sessions.start(coach, words);
    await store.sessions.end(coach, id);
    ids.push(id);
  }
});

async function reanalyse(change: Partial<ReanalysisOptions> = {}) {
  const sessions = await Promise.all(ids.map((id) => store.sessions.get(id)));
  const options = { store, sessions, recordingsFolder: folder, again: false, threadCount: 2, ...change };
  const results = await reanalyseSessions(options);
  return ids.map((id) => results.find(({ sessionId }) => sessionId === id));
}

it('goes through the recordings as the live path did, stores what is new, and says what fails', async () => {
  const [one, two, gone, none] = await reanalyse();
  expect(one).toMatchObject({ state: 'done', again: 0, notFound: 0 });
  expect(two).toMatchObject({ state: 'done', again: 0, notFound: 0 });
  expect(one?.added).toBeGreaterThan(0);
  expect(two?.added).toBeGreaterThan(0);
  expect(gone).toMatchObject({ state: 'failed', message: expect.stringContaining('gone.mcap') });
  expect(none).toMatchObject({ state: 'no-recording' });
  const stored = await store.shots.list({ sessionId: ids[1] as string });
  const { shots: here } = await analyseRecording({
    file: path.join(folder, 'two.mcap'),
    settings: defaultBallSettings,
  });
  expect(stored.map(({ result }) => result.shot)).toEqual(JSON.parse(JSON.stringify(here.map(({ shot }) => shot))));
});

it('does nothing twice, unless it is told to; then the same comes out and the old results stay', async () => {
  expect((await reanalyse()).map((result) => result?.state)).toEqual([
    'done-before',
    'done-before',
    'failed',
    'no-recording',
  ]);
  const [one, two] = await reanalyse({ again: true });
  const count = (await store.shots.list({ sessionId: ids[0] as string })).length;
  expect(one).toMatchObject({ state: 'done', again: count, added: 0, notFound: 0, changed: 0 });
  expect(two).toMatchObject({ added: 0, notFound: 0, changed: 0 });
  const [shot] = await store.shots.list({ sessionId: ids[0] as string });
  const results = await store.shots.results(shot?.id ?? '');
  expect(results.map(({ isCurrent }) => isCurrent)).toEqual([false, true]);
});

it('keeps the tags of a shot through another analysis, and a shot that is not found again', async () => {
  const sessionId = ids[0] as string;
  const shots = await store.shots.list({ sessionId });
  await store.shots.tag(coach, [shots[0]?.id ?? ''], { outcome: 'make' });
  const sensorId = shots[0]?.sensor_id ?? null;
  const place = { sessionId, setId: null, playerId: null, sensorId, streamIndex: 0, atS: 5 };
  const first = shots[0] as (typeof shots)[number];
  await store.shots.add(place, { ...first.result, shot: first.result.shot });
  const [one] = await reanalyse({ again: true });
  expect(one).toMatchObject({ again: shots.length, added: 0, notFound: 1 });
  const after = await store.shots.list({ sessionId });
  expect(after.map(({ outcome }) => outcome)).toContain('make');
  expect(after).toHaveLength(shots.length + 1);
});

it('makes one record of a shot that a ball and an arm sensor saw, as live, and takes up what each had told alone', async () => {
  const plan = drawWristPlan(11, { shots: 2, decoys: 0 });
  const { descriptions, sensors, chunks } = encodePairedPractice({ seed: 11, plan });
  const notifications = [...chunks].flatMap((chunk) => chunk.notifications);
  const file = path.join(folder, 'pair.mcap');
  const writer = await RecordingWriter.create(file);
  for (const place of ['ball', 'wrist'] as const) {
    const { sensorId } = sensors[place];
    await writer.describe(sensorId, descriptions[place], notifications[0]?.hostTimeS ?? 0);
    await store.players.seeSensor({ id: sensorId, placement: place, description: '' });
  }
  for (const notification of notifications) await writer.add(notification);
  await writer.close();
  const { shots } = await analyseRecording({ file, settings: defaultBallSettings });
  const both = shots.filter(({ shot }) => (shot as Partial<MergedShot>).ball && (shot as Partial<MergedShot>).wrist);
  expect(both).toHaveLength(2);
  expect(shots).toHaveLength(2);

  // An earlier version told the arm's shot for itself, some seconds late, and somebody tagged that one.
  const words = { name: '', timeZone: 'UTC', simulated: true, recording: 'pair.mcap', settings: defaultBallSettings };
  const sessionId = await store.sessions.start(coach, words);
  await store.sessions.end(coach, sessionId);
  const analysed = { analysisVersion: '0', parameters: {} };
  const [first] = both;
  if (!first) throw new Error('no shot of both');
  const merged = first.shot as MergedShot;
  const place = { sessionId, setId: null, playerId: null, streamIndex: 0 };
  const ofBall = await store.shots.add(
    { ...place, sensorId: sensors.ball.sensorId, atS: first.atS },
    { ...analysed, shot: merged },
  );
  const ofArm = await store.shots.add(
    { ...place, sensorId: sensors.wrist.sensorId, atS: first.atS + 2 },
    { ...analysed, shot: { ...merged, index: merged.wrist?.index ?? -1 } },
  );
  await store.shots.tag(coach, [ofArm], { outcome: 'make' });
  const session = await store.sessions.get(sessionId);
  const [result] = await reanalyseSessions({
    store,
    sessions: [session],
    recordingsFolder: folder,
    again: false,
    threadCount: 1,
  });
  expect(result).toMatchObject({ state: 'done', again: 1, absorbed: 1, added: 1, notFound: 0 });
  const after = await store.shots.list({ sessionId });
  expect(after.map(({ id, outcome }) => [id === ofBall, outcome])).toEqual([
    [true, 'make'],
    [false, 'unknown'],
  ]);
  expect((await store.shots.results(ofBall)).map(({ isCurrent }) => isCurrent)).toEqual([false, false, true]);
});
