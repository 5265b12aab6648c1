/**
 * Runs a court in a process of its own: the keeper of practices with its database and recordings, and the uploader, as the service
 * has them. Shots are made here instead of measured, and people change things at random. The parent says when to shoot and to end.
 */
import { randomBytes } from 'node:crypto';
import { setTimeout as pause } from 'node:timers/promises';
import { drillLibrary } from '../../src/coaching/drills.ts';
import { systemClock } from '../../src/devices/system-clock.ts';
import { silentLogger } from '../../src/foundation/logger.ts';
import { CourtUploader } from '../../src/server/hub/court-uploader.ts';
import { LiveHub } from '../../src/server/live-hub.ts';
import { erasePlayerFrom } from '../../src/server/practice/erase-player.ts';
import { PracticeKeeper } from '../../src/server/practice/practice-keeper.ts';
import { ShotLog } from '../../src/server/shot-log.ts';
import type { Actor } from '../../src/sessions/database/store-context.ts';
import { JsonSensorCalibrations } from '../../src/sessions/sensor-calibrations.ts';
import { analysisVersion, defaultBallSettings } from '../../src/shots/shot.ts';
import { Random } from '../../src/simulate/random.ts';
import { madeShot } from '../server/made-shots.ts';

/** What the parent says. */
export type CourtOrder =
  | { readonly kind: 'shoot'; readonly count: number; readonly pauseMs: number }
  | { readonly kind: 'end' };

/** What the court says: that it shot, or how far it has handed over. */
export type CourtReport =
  | { readonly kind: 'shot' }
  | {
      readonly kind: 'state';
      readonly waiting: number;
      readonly parked: number;
      /** Why the last thing was put aside, or null. */
      readonly reason: string | null;
      readonly handed: boolean;
      /** Number of the hub's last change that it has taken. */
      readonly told: number;
    };

const [dataFolder = '', address = '', key = '', seed = '', name = ''] = process.argv.slice(2);
const coach: Actor = { role: 'coach', name: `Coach of ${name}` };
const random = new Random(seed);
const pick = <Item>(items: readonly Item[]): Item => items[Math.floor(random.between(0, items.length))] as Item;
const sensorId = randomBytes(16).toString('hex');
const common = { dataFolder, clock: systemClock, logger: silentLogger, settings: defaultBallSettings };

let keeper = await PracticeKeeper.open({ ...common, simulated: false });
let uploader = upload();
const report = (message: CourtReport): void => void process.send?.(message);

function upload(): CourtUploader {
  return new CourtUploader({
    ...{ store: keeper.store, hub: { address, key }, recordingsFolder: keeper.recordingsFolder, logger: silentLogger },
    ...{ idleMs: 100, retryMs: 100, calibrations: new JsonSensorCalibrations(dataFolder) },
    erase: async (playerId) => {
      await erasePlayerFrom(keeper.store, dataFolder, playerId);
      return true;
    },
  });
}

const { store } = keeper;
const agreed: string[] = [];
for (const number of [1, 2, 3]) {
  const id = await store.players.add(coach, { pseudonym: `${name} ${number}` });
  // The third of each court does not agree.
  for (const scope of number === 3 ? (['record'] as const) : (['record', 'upload'] as const)) {
    await store.players.giveConsent(coach, id, scope, 'the player');
  }
  agreed.push(id);
}

const hub = new LiveHub({
  ...{ log: new ShotLog(), clock: systemClock, version: 'test', runId: randomBytes(6).toString('hex') },
  ...{ simulated: false, latestShotCount: 10 },
});
keeper.takeState({
  ...{ sensorId, state: 'streaming', hostTimeS: systemClock.nowS(), detail: null },
  description: randomBytes(60),
});
const shotIds: string[] = [];
let setId: string | null = null;
let shotCount = 0;

async function shootOne(): Promise<void> {
  const hostTimeS = systemClock.nowS();
  keeper.takeNotification({ sensorId, bytes: randomBytes(400), hostTimeS });
  if (shotCount % 8 === 0 && keeper.sessionId !== null) {
    const playerId = pick([...agreed, null]);
    setId = await store.sessions.startSet(coach, keeper.sessionId, { player_id: playerId, name: `set ${shotCount}` });
  }
  const event = { sensorId, streamIndex: 0, hostTimeS, event: { kind: 'shot' as const, shot: madeShot(shotCount++) } };
  const document = hub.prepare(event);
  const kept = await keeper.keep(document, { ...event, releaseHostS: hostTimeS });
  hub.tell(document);
  uploader.wake();
  if (kept.isKept && document.kind === 'shot') shotIds.push(...(await store.shots.idsOf([document.shotId])));
}

/** What people and the analysis do with what was shot. */
async function changeSomething(): Promise<void> {
  if (shotIds.length === 0) return;
  const shotId = pick(shotIds.slice(-40));
  const drawn = random.between(0, 1);
  if (drawn < 0.5) await store.shots.tag(coach, [shotId], { outcome: pick(['make', 'miss', 'unknown'] as const) });
  else if (drawn < 0.65) await store.shots.assign(coach, [shotId], pick([...agreed, null]));
  else if (drawn < 0.75) await store.shots.putIntoSet(coach, [shotId], setId);
  else if (drawn < 0.85) {
    const shot = { ...madeShot(shotIds.indexOf(shotId)), contactKind: 'net' as const };
    await store.shots.addResult(shotId, { shot, analysisVersion: `${analysisVersion}+`, parameters: {} });
  } else if (drawn < 0.95 && keeper.sessionId !== null) {
    await keeper.setMark(coach, {
      atS: systemClock.nowS(),
      uncertaintyS: 0.2,
      origin: 'key',
      name: `mark ${shotCount}`,
    });
  } else {
    const [last] = await store.edits.latest(1);
    if (last && !last.isUndone && /tag|assign|set/.test(last.action)) await store.edits.undo(coach, last.groupId);
  }
}

const measures = ['dipDepthM', 'pauseS', 'releaseS'] as const;
const studyDesign = (playerIds: readonly string[]) => ({
  ...{ levels: ['hop', 'step'], labels: [], playerIds, shotsASet: 5, order: playerIds.map(() => [0, 1, 1, 0]) },
  ...{ margins: {}, measures: ['dipDepthM'] },
});
const calibrations = new JsonSensorCalibrations(dataFolder);

/** What a coach plans and notes, of players of this court and of others. */
async function coachSomething(): Promise<void> {
  const everybody = (await store.players.list()).map(({ id }) => id);
  const [playerId, other] = [pick(everybody), pick(agreed)];
  const session = keeper.sessionId;
  const place = { spot: '', distanceM: null };
  const drawn = Math.floor(random.between(0, 10));
  if (drawn < 2) {
    const low = random.between(0, 1);
    const words = low < 0.3 ? null : { target: null, low, high: null };
    await store.coaching.setTarget(coach, playerId, pick(measures), words);
  } else if (drawn === 2) {
    const words = { shots: Math.floor(random.between(0, 90)), minutes: 20 };
    await store.coaching.setLoad(coach, playerId, pick(['2026-11-20', '2026-11-21']), words);
  } else if (drawn === 3) {
    const drills = await store.coaching.drills();
    if (drills.length < 3) await store.coaching.addDrill(coach, { ...drillLibrary[0]!, title: `drill ${shotCount}` });
    else await store.coaching.changeDrill(coach, pick(drills).id, { retired: random.between(0, 1) < 0.5 });
  } else if (drawn === 4) {
    await store.prescriptions.add(coach, {
      ...{ playerId, fault: 'late-dip', drill: drillLibrary[0]!, measure: 'dipDepthM', faultSide: 1 as const },
      ...{ smallestChange: 0.02, namedS: systemClock.nowS(), retentionDueS: null, notes: `of ${name}` },
    });
  } else if (drawn === 5 && session !== null) {
    const prescriptions = await store.prescriptions.of(playerId);
    if (prescriptions.length === 0) return;
    const { id } = pick(prescriptions);
    await store.prescriptions.startBlock(coach, id, session, { role: pick(['baseline', 'drill'] as const), ...place });
    if (random.between(0, 1) < 0.3) await store.prescriptions.change(coach, id, { notes: `changed by ${name}` });
  } else if (drawn === 6) {
    const words = { name: `study ${shotCount}`, factor: 'footwork', blinded: false, seed: 's' };
    await store.studies.add(coach, words, studyDesign([...new Set([playerId, other])]));
  } else if (drawn === 7 && session !== null) {
    const studies = await store.studies.list();
    if (studies.length > 0) await store.studies.startSet(coach, pick(studies).id, session, { row: 0, ...place });
  } else if (drawn === 8 && session !== null) {
    const id = await store.rotations.start(coach, session, {
      playerIds: [...new Set([other, playerId])],
      shotsEach: 2,
    });
    if (random.between(0, 1) < 0.5) await store.rotations.change(coach, id, { ended: true });
  } else if (session !== null) {
    const sets = (await store.sessions.sets(session)).map(({ id }) => id);
    if (sets.length > 0) await store.coaching.setBestSets(coach, playerId, [pick(sets), pick(sets)]);
    await calibrations.add({
      ...{ sensorId, madeAtS: systemClock.nowS(), accelBiasMps2: [random.between(0, 1), 0, 0], accelScale: [1, 1, 1] },
      ...{ accelBiasStandardErrorMps2: [0, 0, 0], accelScaleStandardError: [0, 0, 0], accelCheckErrorsMps2: [] },
      gyro: null,
    });
  }
  if (drawn > 3 && random.between(0, 1) < 0.15) {
    const [last] = await store.edits.latest(1);
    if (last && !last.isUndone) await store.edits.undo(coach, last.groupId);
  }
}

async function shoot(count: number, pauseMs: number): Promise<void> {
  for (let k = 0; k < count; k++) {
    await shootOne();
    if (k % 2 === 1) await changeSomething().catch(() => {});
    if (k % 3 === 1) await coachSomething().catch(() => {});
    report({ kind: 'shot' });
    await pause(pauseMs * random.between(0.5, 1.5));
  }
}

/** Ends the practice, so that its recording is handed over too, and says when nothing is left to do. */
async function end(): Promise<void> {
  await uploader.close();
  await keeper.close();
  keeper = await PracticeKeeper.open({ ...common, simulated: false });
  uploader = upload();
  for (;;) {
    const { waiting, parked } = await uploader.state();
    const recorded = await keeper.store.sessions.withRecordings();
    const marks = await Promise.all(recorded.map(({ id }) => keeper.store.hub.remembered(`recording ${id}`)));
    const may = await Promise.all(recorded.map(({ id }) => keeper.store.hub.mayHandRecording(id)));
    const { reason } = await keeper.store.hub.parked();
    const told = await keeper.store.hub.position('told');
    report({
      kind: 'state',
      waiting,
      parked,
      reason,
      told,
      handed: marks.every((mark, at) => mark !== null || !may[at]),
    });
    await pause(200);
  }
}

process.on('message', (order: CourtOrder) => {
  if (order.kind === 'shoot') void shoot(order.count, order.pauseMs);
  else void end();
});
process.send?.({ kind: 'ready' });
