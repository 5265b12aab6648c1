import { useEffect, useRef } from 'preact/hooks';
import type { LiveState } from './live-state.ts';
import { changeNumber } from './live-state.ts';

/**
 * @param sessionId of which practice; null for all of them.
 * @returns a word that is another one whenever what a list shows may have changed: somebody changed something, a shot was kept, or the
 * service was started anew.
 */
export function changeMark(state: LiveState, sessionId: string | null): string {
  const shot = state.shots.find((each) => each.shot.stage === 'final')?.shotId ?? '';
  return `${state.hello?.runId ?? ''} ${changeNumber(state, sessionId)} ${shot}`;
}

/**
 * Reads something at first and again with each new mark: one reading at a time, and after it at most one more, however many marks came
 * meanwhile.
 */
export function useReread(read: () => Promise<void>, mark: string): void {
  const latest = useRef(read);
  latest.current = read;
  const state = useRef({ isReading: false, isDue: false, isOver: false });
  useEffect(() => {
    const now = state.current;
    now.isDue = true;
    if (now.isReading) return;
    void (async () => {
      now.isReading = true;
      while (now.isDue && !now.isOver) {
        now.isDue = false;
        await latest.current();
      }
      now.isReading = false;
    })();
  }, [mark]);
  useEffect(
    () => () => {
      state.current.isOver = true;
    },
    [],
  );
}
