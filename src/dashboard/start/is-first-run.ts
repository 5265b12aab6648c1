import { ask } from '../api.ts';

const keptAs = 'seamwise-first-steps';

/** @returns whether the service has nothing of before and this browser has not been led through the first steps; only once true. */
export async function isFirstRun(): Promise<boolean> {
  try {
    if (window.localStorage.getItem(keptAs) !== null) return false;
  } catch {
    // A private window: the service alone knows.
  }
  const answer = await ask<{ readonly isFirstRun: boolean }>('GET', '/api/first-run');
  if (!answer.ok || !answer.value.isFirstRun) return false;
  try {
    window.localStorage.setItem(keptAs, 'shown');
  } catch {
    // It will be shown once more, which does no harm.
  }
  return true;
}
