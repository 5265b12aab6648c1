import { readdirSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { systemClock } from '../../../src/devices/system-clock.ts';
import type { Logger } from '../../../src/foundation/logger.ts';
import { PracticeKeeper, recordingsFolder } from '../../../src/server/practice/practice-keeper.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';
import { killService } from '../../helpers/kill-service.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import {
  descriptionBytes,
  madeNotifications,
  readRecording,
  sensorId,
} from '../../sessions/recording/made-recording.ts';
import { shotDocument } from '../made-shots.ts';

const streaming = { sensorId, state: 'streaming', hostTimeS: 1, description: descriptionBytes, detail: null } as const;

async function openKeeper(dataFolder: string, simulated: boolean, told: string[] = []) {
  const tell: Logger['info'] = (_about, message) => void told.push(message);
  const logger = { debug: tell, info: tell, warn: tell, error: tell } as unknown as Logger;
  return PracticeKeeper.open({ dataFolder, clock: systemClock, logger, simulated, settings: defaultBallSettings });
}

describe('a practice with real sensors', () => {
  it('is a session with a recording of every notification', async () => {
    const folder = temporaryFolder();
    const keeper = await openKeeper(folder, false);
    keeper.takeState(streaming);
    const sent = madeNotifications(300);
    for (const notification of sent) keeper.takeNotification(notification);
    await keeper.keep({ ...shotDocument(0), sensorId }, { streamIndex: 0 });
    await keeper.close();
    const [name = ''] = readdirSync(path.join(folder, recordingsFolder));
    const { reader, entries } = await readRecording(path.join(folder, recordingsFolder, name));
    expect(entries.filter(({ kind }) => kind === 'notification')).toHaveLength(sent.length);
    expect(reader.notes).toMatchObject([{ kind: 'settings', document: { ballSize: 7 } }]);
    const again = await openKeeper(folder, false);
    const [session] = await again.store.sessions.list();
    expect(session).toMatchObject({ recording: name, simulated: 0, shotCount: 1 });
    expect(session?.ended_s).not.toBeNull();
    expect(await again.store.players.sensors()).toMatchObject([{ id: sensorId, placement: 'ball' }]);
    expect(again.found).toEqual([{ ...shotDocument(0), sensorId, playerId: null, outcome: 'unknown' }]);
    await again.close();
  });

  it('closes what a killed one left, and says so', async () => {
    const folder = temporaryFolder();
    const killed = await openKeeper(folder, false);
    killed.takeState(streaming);
    for (const notification of madeNotifications(300)) killed.takeNotification(notification);
    // Chunks are written by themselves every so often; when all of them are, the process ends here.
    const folderOfRecordings = path.join(folder, recordingsFolder);
    await expect
      .poll(async () => {
        const [name = ''] = readdirSync(folderOfRecordings);
        const { entries } = await readRecording(path.join(folderOfRecordings, name));
        return entries.filter(({ kind }) => kind === 'notification').length;
      })
      .toBe(300);
    const told: string[] = [];
    const next = await openKeeper(folder, false, told);
    await next.recovered;
    expect(told.some((text) => /\.mcap was not closed; 301 messages are saved, nothing/.test(text))).toBe(true);
    expect(await next.store.sessions.openOnes()).toEqual([]);
    await next.close();
  });
});

it('does not record a simulated practice, which a seed makes again', async () => {
  const folder = temporaryFolder();
  const keeper = await openKeeper(folder, true);
  keeper.takeState(streaming);
  for (const notification of madeNotifications(20)) keeper.takeNotification(notification);
  await keeper.close();
  expect(readdirSync(path.join(folder, recordingsFolder))).toEqual([]);
});

it('keeps through a kill every shot that a client was told of, and all that came before the last syncs', async () => {
  const dataFolder = temporaryFolder();
  const kill = { dataFolder, sensorCount: 2, seed: 'kept through a kill', afterMs: 5000, leastTags: 1 };
  const left = await killService(kill);
  expect(left.told).toBeGreaterThan(0);
  expect(left.tagged).toBeGreaterThan(0);
  // How long ago that was is told by the proof, on a machine that does nothing else.
  expect(left).toMatchObject({ lost: 0, lostTags: 0, openSessions: 0, lostSynced: 0 });
  expect(left.syncs).toBeGreaterThan(2);
});
