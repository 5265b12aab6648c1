import { useEffect, useState } from 'preact/hooks';
import type { ShotDocument } from '../../server/wire/live-document.ts';
import { ask } from '../api.ts';
import { outcomeOfKey } from '../practice/outcome-keys.ts';
import { texts } from '../texts.ts';

type Outcome = 'make' | 'miss' | 'unknown';

/** Made or missed, for the newest final shot: two big buttons, and the same by key. */
export function OutcomeButtons({ latest }: { readonly latest: ShotDocument | undefined }) {
  const [told, setTold] = useState<{ readonly shotId: string; readonly outcome: Outcome } | null>(null);
  const [trouble, setTrouble] = useState<string | null>(null);
  const shotId = latest?.shot.stage === 'final' ? latest.shotId : null;
  const tell = async (outcome: Outcome): Promise<void> => {
    if (shotId === null) return;
    const answer = await ask('POST', '/api/shots/tag', { which: { shotIds: [shotId] }, outcome });
    setTrouble(answer.ok ? null : texts.failed(answer.message));
    if (answer.ok) setTold({ shotId, outcome });
  };
  useEffect(() => {
    const onKey = (event: KeyboardEvent): void => {
      const outcome = outcomeOfKey(event);
      if (outcome) void tell(outcome);
    };
    window.addEventListener('keydown', onKey);
    return () => window.removeEventListener('keydown', onKey);
  }, [shotId]);
  const now = told?.shotId === shotId ? told?.outcome : undefined;
  return (
    <>
      {(['make', 'miss'] as const).map((outcome) => (
        <button
          key={outcome}
          type="button"
          class="wide outcome"
          disabled={shotId === null}
          aria-pressed={now === outcome}
          onClick={() => void tell(now === outcome ? 'unknown' : outcome)}
        >
          {texts.court.outcomes[outcome]}
        </button>
      ))}
      {trouble !== null && (
        <p role="alert" class="stale">
          {trouble}
        </p>
      )}
    </>
  );
}
