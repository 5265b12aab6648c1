import { expect, test } from 'vitest';
import type { Answer } from '../../src/dashboard/api.ts';
import { CoachingDesk } from '../../src/dashboard/coaching/coaching-desk.ts';

test('what cannot be read stays as it was, and is never told as none', async () => {
  const answers: Record<string, unknown> = {
    '/api/players/p/coaching': { sessionId: null, stage: { inWords: '', source: '' }, findings: [], notes: [] },
    '/api/players/p/prescriptions': { prescriptions: [] },
    '/api/players/p/load': { cautions: [] },
    '/api/players/p/targets': { bands: [] },
    '/api/players/p/sets': { sets: [] },
  };
  let isAway = true;
  const ask = async (_method: string, path: string): Promise<Answer<never>> =>
    isAway
      ? { ok: false, status: 0, message: 'the service did not answer' }
      : { ok: true, status: 200, value: answers[path] as never };
  const desk = new CoachingDesk(ask as unknown as ConstructorParameters<typeof CoachingDesk>[0]);
  await desk.read('p');
  expect(desk.work.value?.prescriptions).toBeNull();
  expect(desk.trouble.value).toContain('the service did not answer');
  isAway = false;
  await desk.read('p');
  expect(desk.work.value?.prescriptions).toEqual([]);
  expect(desk.trouble.value).toBeNull();
  const read = desk.work.value;
  isAway = true;
  await desk.read('p');
  expect(desk.work.value).toEqual(read);
  // Of another player nothing is known.
  await desk.read('q');
  expect(desk.work.value).toMatchObject({ playerId: 'q', coaching: null, prescriptions: null });
});
