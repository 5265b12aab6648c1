import { describe, expect, test } from 'vitest';
import type { Answer } from '../../src/dashboard/api.ts';
import { readFactors, writeFactors } from '../../src/dashboard/practice/factor-words.ts';
import { agreedToRecord, PracticeDesk, rangeOf, shotsAtOnce } from '../../src/dashboard/practice/practice-desk.ts';
import type { WirePlayer, WireStoredShot } from '../../src/server/wire/practice-document.ts';

const shotsNamed = (count: number) =>
  Array.from({ length: count }, (_, at) => ({ id: `s${at}`, atS: at }) as unknown as WireStoredShot);

/** A service with so many shots, which remembers what it was asked. */
function service(shotCount: number, answers: Partial<Record<string, Answer<never>>> = {}) {
  const asked: string[] = [];
  const shots = shotsNamed(shotCount);
  const ask = async (method: string, path: string): Promise<Answer<never>> => {
    asked.push(`${method} ${path}`);
    const given = answers[path];
    if (given) return given;
    const [name = '', query] = path.split('?');
    const words = new URLSearchParams(query);
    const before = words.get('beforeId');
    const end = before === null ? shots.length : shots.findIndex(({ id }) => id === before);
    const from = Math.max(0, end - Number(words.get('limit')));
    const values: Record<string, unknown> = {
      '/api/players': { players: [] },
      '/api/known-sensors': { sensors: [] },
      '/api/sessions/current': { session: { id: 'x' }, sets: [], rotations: [], shotsOf: [{ count: shots.length }] },
      '/api/sessions/current/shots': { shots: shots.slice(from, end), earlier: from },
    };
    return { ok: true, status: 200, value: values[name] as never };
  };
  return { asked, shots, ask: ask as unknown as ConstructorParameters<typeof PracticeDesk>[0] };
}

const idsOf = ({ practice }: PracticeDesk) => practice.value.shots.map(({ id }) => id);

describe('the desk of a practice', () => {
  test('holds the newest shots, and earlier ones when they are wished for, each once', async () => {
    const { ask } = service(1203);
    const desk = new PracticeDesk(ask);
    await desk.refresh();
    expect(idsOf(desk)).toEqual(Array.from({ length: shotsAtOnce }, (_, at) => `s${1203 - shotsAtOnce + at}`));
    expect(desk.practice.value.earlierCount).toBe(1203 - shotsAtOnce);
    while (desk.practice.value.earlierCount > 0) await desk.readEarlier();
    expect(idsOf(desk)).toEqual(Array.from({ length: 1203 }, (_, at) => `s${at}`));
  });

  test('takes the shots that come, lets those go that became too many, and knows how many there are', async () => {
    const { ask, asked, shots } = service(95);
    const desk = new PracticeDesk(ask);
    await desk.refresh();
    const before = asked.length;
    for (let at = 95; at < 400; at++) {
      shots.push({ id: `s${at}`, atS: at } as unknown as WireStoredShot);
      await desk.refreshNewest();
      expect(desk.practice.value.shots.length).toBe(Math.min(at + 1, shotsAtOnce));
      expect(desk.practice.value.earlierCount + desk.practice.value.shots.length).toBe(at + 1);
      expect(idsOf(desk).at(-1)).toBe(`s${at}`);
    }
    // Two questions a shot, whatever is held.
    expect(asked.length - before).toBe(2 * 305);
  });

  test('reads anew what it holds where more came, or went, than the newest ones show', async () => {
    const { ask, asked, shots } = service(60);
    const desk = new PracticeDesk(ask);
    await desk.refresh();
    for (let at = 60; at < 110; at++) shots.push({ id: `s${at}`, atS: at } as unknown as WireStoredShot);
    await desk.refreshNewest();
    expect(idsOf(desk)).toEqual(Array.from({ length: shotsAtOnce }, (_, at) => `s${10 + at}`));
    shots.splice(40, 1);
    await desk.refreshNewest();
    expect(idsOf(desk)).not.toContain('s40');
    expect(desk.practice.value.earlierCount).toBe(9);
    expect(asked.filter((line) => line === 'GET /api/players')).toHaveLength(3);
  });

  test('calls that come while it reads share one more reading', async () => {
    const { ask, asked } = service(1);
    const desk = new PracticeDesk(ask);
    await Promise.all(Array.from({ length: 10 }, () => desk.refresh()));
    expect(asked.filter((line) => line === 'GET /api/players')).toHaveLength(2);
  });

  test('says why a change was not made, and forgets it with the next one that was', async () => {
    const refused = { ok: false, status: 409, message: 'the player has not agreed' } as const;
    const { ask } = service(1, { '/api/shots/assign': refused });
    const desk = new PracticeDesk(ask);
    expect(await desk.assign({ newestOf: 'current' }, 'p')).toBe(false);
    expect(desk.trouble.value).toContain('the player has not agreed');
    expect(await desk.tag({ newestOf: 'current' }, 'make')).toBe(true);
    expect(desk.trouble.value).toBeNull();
  });

  test('before the first shot there is no session, and that is no trouble', async () => {
    const none = { ok: false, status: 404, message: 'there is none' } as const;
    const { ask } = service(0, { '/api/sessions/current': none });
    const desk = new PracticeDesk(ask);
    await desk.refresh();
    expect(desk.practice.value.session).toBeNull();
    expect(desk.trouble.value).toBeNull();
  });

  test('a session of before that cannot be found is told', async () => {
    const none = { ok: false, status: 404, message: 'there is no such session' } as const;
    const desk = new PracticeDesk(service(0, { '/api/sessions/gone': none }).ask, 'gone');
    await desk.refresh();
    expect(desk.trouble.value).toContain('there is no such session');
  });

  test('what could not be read is taken back once it can, what could not be changed stays told', async () => {
    const away = { ok: false, status: 0, message: 'cannot be reached' } as const;
    const answers: Partial<Record<string, Answer<never>>> = { '/api/players': away };
    const desk = new PracticeDesk(service(1, answers).ask);
    await desk.refresh();
    expect(desk.trouble.value).toContain('cannot be reached');
    delete answers['/api/players'];
    await desk.refresh();
    expect(desk.trouble.value).toBeNull();
    answers['/api/shots/tag'] = { ok: false, status: 409, message: 'it is gone' };
    await desk.tag({ newestOf: 'current' }, 'make');
    await desk.refresh();
    expect(desk.trouble.value).toContain('it is gone');
  });
});

test('a range holds both ends, whichever was chosen first', () => {
  const shots = shotsNamed(6);
  const ids = (one: string, other: string) => rangeOf(shots, one, other).map(({ id }) => id);
  expect(ids('s1', 's3')).toEqual(['s1', 's2', 's3']);
  expect(ids('s3', 's1')).toEqual(['s1', 's2', 's3']);
  expect(ids('s2', 's2')).toEqual(['s2']);
  expect(ids('s2', 'gone')).toEqual([]);
});

test('consent counts until it is taken back', () => {
  const player = (consents: unknown) => ({ consents }) as WirePlayer;
  expect(agreedToRecord(player([]))).toBe(false);
  expect(agreedToRecord(player([{ scope: 'export', withdrawnS: null }]))).toBe(false);
  expect(agreedToRecord(player([{ scope: 'record', withdrawnS: 5 }]))).toBe(false);
  expect(
    agreedToRecord(
      player([
        { scope: 'record', withdrawnS: 5 },
        { scope: 'record', withdrawnS: null },
      ]),
    ),
  ).toBe(true);
});

describe('conditions as a coach types them', () => {
  test('are read and written', () => {
    const read = readFactors(' footwork = hop , dip=none,, ');
    expect(read).toEqual({
      factors: [
        { factor: 'footwork', level: 'hop' },
        { factor: 'dip', level: 'none' },
      ],
    });
    expect('factors' in read && writeFactors(read.factors)).toBe('footwork = hop, dip = none');
    expect(readFactors('')).toEqual({ factors: [] });
  });

  test.each(['hop', 'footwork =', '= hop', 'a=1, a=2', `${'x'.repeat(61)}=1`])('"%s" is named as odd', (text) => {
    expect(readFactors(text)).toHaveProperty('odd');
  });
});
