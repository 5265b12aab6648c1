import { useEffect, useState } from 'preact/hooks';
import { ask } from '../api.ts';
import { texts } from '../texts.ts';

interface StopPageProps {
  readonly onBack: () => void;
}

/** Something hurts: what to do, and the sets that run are ended. Nothing else is sent or kept. */
export function StopPage({ onBack }: StopPageProps) {
  const [came, setCame] = useState<string>(texts.court.hurtsEnding);
  useEffect(() => {
    void ask<{ readonly sets: readonly unknown[] }>('POST', '/api/sessions/current/end-sets', {}).then((answer) =>
      setCame(answer.ok ? texts.court.hurtsEnded(answer.value.sets.length) : texts.court.hurtsNotEnded(answer.message)),
    );
  }, []);
  return (
    <section class="stop-page" role="alert" aria-labelledby="stop-title">
      <h2 id="stop-title">{texts.court.hurtsTitle}</h2>
      <p>{texts.court.hurtsText}</p>
      <p class="stop-came">{came}</p>
      <button type="button" class="wide" onClick={onBack}>
        {texts.court.hurtsBack}
      </button>
    </section>
  );
}
