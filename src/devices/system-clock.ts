import { performance } from 'node:perf_hooks';
import type { Clock } from '../foundation/clock.ts';

const longestTimerMs = 1_000_000;

function nowMs(): number {
  return performance.timeOrigin + performance.now();
}

/**
 * The machine's clock: monotonic time set on the wall clock once, at the start of the process, so that a correction
 * of the wall clock in the middle of a practice moves no time stamp.
 */
export const systemClock: Clock = {
  nowS: () => nowMs() / 1000,
  schedule(atS, callback) {
    let timer: NodeJS.Timeout;
    const arm = (): void => {
      const leftMs = Math.ceil(atS * 1000 - nowMs());
      timer = setTimeout(fire, Math.min(Math.max(leftMs, 0), longestTimerMs));
    };
    const fire = (): void => {
      // A timer may fire a little early, and a far one is reached in several steps.
      if (atS * 1000 - nowMs() <= 0) callback();
      else arm();
    };
    arm();
    return () => clearTimeout(timer);
  },
};
