import { useEffect, useRef } from 'preact/hooks';
import type { Outcome } from '../parts/outcome-buttons.tsx';
import { currentSettings } from '../settings/current-settings.ts';

const meanings: readonly (readonly [MediaSessionAction, Outcome])[] = [
  ['nexttrack', 'make'],
  ['previoustrack', 'miss'],
  ['pause', 'unknown'],
  ['play', 'unknown'],
];

/** While a screen is shown, media buttons of a headset or remote say what became of the newest shot. */
export function useMediaKeys(onOutcome: (outcome: Outcome) => void): void {
  const latest = useRef(onOutcome);
  latest.current = onOutcome;
  const isOn = currentSettings.value.mediaKeys;
  useEffect(() => {
    if (!isOn || !('mediaSession' in navigator)) return;
    for (const [action, outcome] of meanings)
      navigator.mediaSession.setActionHandler(action, () => latest.current(outcome));
    return () => {
      for (const [action] of meanings) navigator.mediaSession.setActionHandler(action, null);
    };
  }, [isOn]);
}
