import { useLayoutEffect } from 'preact/hooks';
import { ask } from '../api.ts';
import { texts } from '../texts.ts';
import { isCommand, outcomeOfKey } from './outcome-keys.ts';
import type { PracticeDesk, WhichShots } from './practice-desk.ts';

interface BenchKeysProps {
  readonly desk: PracticeDesk;
  readonly chosen: readonly string[];
}

/** Outcomes by one key, for a coach whose eyes are on the court; nothing while something is typed. */
export function BenchKeys({ desk, chosen }: BenchKeysProps) {
  // Before the page is drawn: a key that follows the choice at once means what was chosen, not the newest shot.
  useLayoutEffect(() => {
    const onKey = (event: KeyboardEvent): void => {
      if (isCommand(event) && event.key.toLowerCase() === 'z') void undo(desk);
      const outcome = outcomeOfKey(event);
      const which: WhichShots = chosen.length > 0 ? { shotIds: chosen } : { newestOf: desk.sessionId };
      if (outcome) void desk.tag(which, outcome);
    };
    window.addEventListener('keydown', onKey);
    return () => window.removeEventListener('keydown', onKey);
  }, [chosen]);
  return (
    <p class="note bench-keys">
      {texts.bench.keys}{' '}
      <button type="button" class="small" onClick={() => void undo(desk)}>
        {texts.bench.undo}
      </button>
    </p>
  );
}

async function undo(desk: PracticeDesk): Promise<void> {
  type Changes = {
    readonly changes: readonly { readonly id: string; readonly action: string; readonly isUndone: boolean }[];
  };
  const answer = await ask<Changes>('GET', '/api/changes?limit=50');
  if (!answer.ok) {
    desk.trouble.value = texts.failed(answer.message);
    return;
  }
  const last = answer.value.changes.find(({ isUndone, action }) => !isUndone && !action.startsWith('undo'));
  if (last) await desk.change('POST', `/api/changes/${encodeURIComponent(last.id)}/undo`);
}
