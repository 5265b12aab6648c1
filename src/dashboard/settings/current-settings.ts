import { signal } from '@preact/signals';
import type { ShotMeasureName } from '../../server/wire/shot-document.ts';
import { type MeasureFormat, shownFormat } from '../measures.ts';
import { type PageSettings, readSettings } from './page-settings.ts';

const keptAs = 'seamwise-settings';

/** The settings of this browser; components that read them are drawn anew when they change. */
export const currentSettings = signal<PageSettings>(readSettings(keptText()));

/** Changes some settings and keeps them, where the browser lets a page keep anything. */
export function changeSettings(change: Partial<PageSettings>): void {
  const next = { ...currentSettings.value, ...change };
  currentSettings.value = next;
  try {
    window.localStorage.setItem(keptAs, JSON.stringify(next));
  } catch {
    // A private window: they hold until it is closed.
  }
}

/** @param hand of the shooter, where it is known better than by the settings. @returns how a measure is shown to the user of this browser. */
export function userFormat(name: ShotMeasureName, hand?: 'right' | 'left'): MeasureFormat {
  const settings = currentSettings.value;
  return shownFormat(name, hand === undefined ? settings : { ...settings, hand });
}

function keptText(): string | null {
  try {
    return window.localStorage.getItem(keptAs);
  } catch {
    return null;
  }
}
