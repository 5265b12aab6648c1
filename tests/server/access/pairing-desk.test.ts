import fc from 'fast-check';
import { beforeEach, describe, expect, test } from 'vitest';
import { codeLifeS, codeTries, PairingDesk } from '../../../src/server/access/pairing-desk.ts';
import { ManualClock } from '../../devices/manual-clock.ts';

let clock: ManualClock;
let desk: PairingDesk;
let made = 0;

beforeEach(() => {
  clock = new ManualClock();
  made = 0;
  desk = new PairingDesk({
    clock,
    makeCode: () => String(100_000 + made++),
    makeTicket: () => `ticket-${made}`,
  });
});

describe('a pairing', () => {
  test('lets one device in, and only one', () => {
    expect(desk.open('player')).toMatchObject({ state: 'open', role: 'player', code: '100000', triesLeft: codeTries });
    expect(desk.tryCode('100000', 'tablet')).toEqual({ kind: 'paired', role: 'player' });
    expect(desk.state).toEqual({ state: 'closed', why: 'used' });
    expect(desk.tryCode('100000', 'another')).toMatchObject({ kind: 'refused' });
  });

  test('ends after its time', () => {
    desk.open('viewer');
    clock.advance(codeLifeS - 0.001);
    expect(desk.state.state).toBe('open');
    clock.advance(0.001);
    expect(desk.tryCode('100000', 'late')).toMatchObject({ kind: 'refused' });
    expect(desk.state).toEqual({ state: 'closed', why: 'expired' });
  });

  test('ends after as many wrong codes as may be tried, for the right one too', () => {
    desk.open('viewer');
    for (let left = codeTries - 1; left >= 1; left--) {
      expect(desk.tryCode('999999', 'guesser')).toMatchObject({
        message: expect.stringContaining(`tries left: ${left}`),
      });
    }
    expect(desk.tryCode('999999', 'guesser')).toMatchObject({ message: expect.stringContaining('no try is left') });
    expect(desk.tryCode('100000', 'owner')).toMatchObject({ kind: 'refused' });
    expect(desk.state).toEqual({ state: 'closed', why: 'tries' });
  });

  test('opened anew has another code, and the old one holds no more', () => {
    desk.open('viewer');
    desk.open('viewer');
    expect(desk.tryCode('100000', 'x')).toMatchObject({ kind: 'refused' });
    expect(desk.tryCode('100001', 'x')).toMatchObject({ kind: 'paired' });
  });

  test('can be taken back', () => {
    desk.open('coach');
    desk.cancel();
    expect(desk.state).toEqual({ state: 'closed', why: 'cancelled' });
    desk.cancel();
    expect(desk.state).toEqual({ state: 'closed', why: 'cancelled' });
  });
});

describe('a coach', () => {
  test('waits for the word of the host', () => {
    desk.open('coach');
    const answer = desk.tryCode('100000', "the coach's tablet");
    if (answer.kind !== 'wait') throw new Error(answer.kind);
    expect(desk.state).toMatchObject({ state: 'asked', deviceName: "the coach's tablet" });
    expect(desk.askAgain(answer.ticket)).toEqual({ kind: 'wait' });
    expect(desk.askAgain('ticket-of-nobody')).toEqual({ kind: 'refused' });
    // Nobody else comes in meanwhile, though they know the code.
    expect(desk.tryCode('100000', 'another')).toMatchObject({ kind: 'refused' });
    expect(desk.confirm(true)).toBe(true);
    expect(desk.confirm(false)).toBe(false);
    expect(desk.askAgain(answer.ticket)).toEqual({ kind: 'paired', role: 'coach', deviceName: "the coach's tablet" });
    expect(desk.askAgain(answer.ticket)).toEqual({ kind: 'refused' });
  });

  test('is sent away by the host', () => {
    desk.open('coach');
    const answer = desk.tryCode('100000', 'stranger');
    if (answer.kind !== 'wait') throw new Error(answer.kind);
    desk.confirm(false);
    expect(desk.askAgain(answer.ticket)).toEqual({ kind: 'refused' });
    expect(desk.state).toEqual({ state: 'closed', why: 'refused' });
  });

  test('does not wait for ever', () => {
    desk.open('coach');
    const answer = desk.tryCode('100000', 'patient');
    if (answer.kind !== 'wait') throw new Error(answer.kind);
    clock.advance(301);
    expect(desk.confirm(true)).toBe(false);
    expect(desk.askAgain(answer.ticket)).toEqual({ kind: 'refused' });
  });
});

test('nobody comes in with anything but the open code, whatever is tried in whatever order', () => {
  const step = fc.oneof(
    fc.record({ what: fc.constant('open' as const) }),
    fc.record({ what: fc.constant('try' as const), code: fc.integer({ min: 99_998, max: 100_006 }) }),
    fc.record({ what: fc.constant('wait' as const), seconds: fc.integer({ min: 1, max: 130 }) }),
  );
  fc.assert(
    fc.property(fc.array(step, { maxLength: 60 }), (steps) => {
      clock = new ManualClock();
      made = 0;
      desk = new PairingDesk({ clock, makeCode: () => String(100_000 + made++), makeTicket: () => 't' });
      let open: { code: string; endsAtS: number; wrong: number } | null = null;
      for (const one of steps) {
        if (one.what === 'open') {
          desk.open('viewer');
          open = { code: String(100_000 + made - 1), endsAtS: clock.nowS() + codeLifeS, wrong: 0 };
        } else if (one.what === 'wait') clock.advance(one.seconds);
        else {
          const valid = open !== null && clock.nowS() < open.endsAtS && open.wrong < codeTries;
          const answer = desk.tryCode(String(one.code), 'x');
          const right = valid && String(one.code) === open?.code;
          expect(answer.kind).toBe(right ? 'paired' : 'refused');
          if (right) open = null;
          else if (valid && open !== null) open.wrong += 1;
        }
      }
    }),
  );
});
