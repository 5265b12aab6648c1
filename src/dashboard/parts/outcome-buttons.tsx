import { useEffect, useState } from 'preact/hooks';
import type { ShotDocument } from '../../server/wire/live-document.ts';
import { ask } from '../api.ts';
import { outcomeOfKey } from '../practice/outcome-keys.ts';
import { useMediaKeys } from '../sound/media-keys.ts';
import { texts } from '../texts.ts';

export type Outcome = 'make' | 'miss' | 'unknown';

/** Made or missed, for the newest final shot: two big buttons, and the same by key. */
interface OutcomeButtonsProps {
  readonly latest: ShotDocument | undefined;
  /** Whether this device may say it; a viewer only sees. */
  readonly canTell: boolean;
}

export function OutcomeButtons({ latest, canTell }: OutcomeButtonsProps) {
  const [told, setTold] = useState<{ readonly shotId: string; readonly outcome: Outcome } | null>(null);
  const [trouble, setTrouble] = useState<string | null>(null);
  const shotId = canTell && latest?.shot.stage === 'final' ? latest.shotId : null;
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
  useMediaKeys((outcome) => void tell(outcome));
  // What the service tells counts; until it comes, what was told here.
  const now = told?.shotId === shotId && latest?.outcome === 'unknown' ? told?.outcome : latest?.outcome;
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
