import { expect, test } from 'vitest';
import { systemClock } from '../../src/devices/system-clock.ts';

test('the time is that of the wall clock and never runs backward', () => {
  let last = systemClock.nowS();
  expect(Math.abs(last - Date.now() / 1000)).toBeLessThan(5);
  for (let step = 0; step < 1000; step++) {
    const next = systemClock.nowS();
    expect(next).toBeGreaterThanOrEqual(last);
    last = next;
  }
});

test('a call comes at its time or after, never before; a past one comes at once', async () => {
  for (const waitS of [-1, 0, 0.0004, 0.0123]) {
    const atS = systemClock.nowS() + waitS;
    await new Promise<void>((resolve) => systemClock.schedule(atS, resolve));
    expect(systemClock.nowS()).toBeGreaterThanOrEqual(atS);
  }
});

test('a call that was taken back does not come', async () => {
  let called = false;
  const cancel = systemClock.schedule(systemClock.nowS() + 0.005, () => {
    called = true;
  });
  cancel();
  await new Promise<void>((resolve) => systemClock.schedule(systemClock.nowS() + 0.02, resolve));
  expect(called).toBe(false);
});
