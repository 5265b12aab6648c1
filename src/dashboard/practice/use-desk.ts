import { useEffect } from 'preact/hooks';
import { changeNumber, type LiveState } from '../live-state.ts';
import type { PracticeDesk } from './practice-desk.ts';

/**
 * Keeps what a screen knows of a practice as new as the service's: read as a whole at first, after a change and where the service
 * was started anew; after a shot of the running practice the newest ones.
 */
export function useDesk(desk: PracticeDesk, state: LiveState): void {
  const { session } = desk.practice.value;
  const final = state.shots.find(({ shot }) => shot.stage === 'final')?.shotId;
  const change = changeNumber(state, session?.id ?? null);
  const run = state.hello?.runId;
  const sensors = state.sensors.map(({ sensorId }) => sensorId).join(' ');
  useEffect(() => void desk.refresh(), [desk, change, run, sensors]);
  useEffect(() => {
    if (final !== undefined && (session === null || session.endedS === null)) void desk.refreshNewest();
  }, [desk, final]);
}
