import type { ShotMeasureName } from '../../server/wire/shot-document.ts';
import { measureFormats } from '../measures.ts';

export const themes = ['system', 'light', 'dark', 'contrast'] as const;
export const unitSystems = ['metric', 'us'] as const;
export const spinUnits = ['rev/s', 'rpm'] as const;
export const soundKinds = ['off', 'tone', 'word'] as const;

export const languages = ['en', 'pseudo'] as const;

/** What one browser keeps for its user. */
export interface PageSettings {
  /** Two or three measures that the court screen shows. */
  readonly figures: readonly ShotMeasureName[];
  readonly theme: (typeof themes)[number];
  readonly units: (typeof unitSystems)[number];
  readonly spin: (typeof spinUnits)[number];
  /** Which hand shoots: sides are told from it. */
  readonly hand: 'right' | 'left';
  readonly sound: (typeof soundKinds)[number];
  /** From 0 to 1. */
  readonly volume: number;
  /** Whether the device trembles with each cue, where it can. */
  readonly vibrate: boolean;
  /** Whether media buttons say what became of a shot. */
  readonly mediaKeys: boolean;
  /** English, or English made strange, by which texts outside the catalogues are found. */
  readonly language: (typeof languages)[number];
}

export const defaultSettings: PageSettings = {
  figures: ['pickupToReleaseS', 'backspinRps'],
  theme: 'system',
  units: 'metric',
  spin: 'rev/s',
  hand: 'right',
  sound: 'off',
  volume: 0.7,
  vibrate: false,
  mediaKeys: false,
  language: 'en',
};

const known = new Set<string>(measureFormats.map((format) => format.name));

/** @param text as it was kept, or null; what in it makes no sense falls back to its default. */
export function readSettings(text: string | null): PageSettings {
  let kept: unknown = null;
  try {
    kept = JSON.parse(text ?? 'null');
  } catch {
    // Whatever stands there, it is no settings.
  }
  if (typeof kept !== 'object' || kept === null) return defaultSettings;
  const from = kept as Partial<Record<keyof PageSettings, unknown>>;
  const oneOf = <Word extends string>(words: readonly Word[], value: unknown, fallback: Word): Word =>
    words.find((word) => word === value) ?? fallback;
  return {
    figures: figuresOf(from.figures),
    theme: oneOf(themes, from.theme, defaultSettings.theme),
    units: oneOf(unitSystems, from.units, defaultSettings.units),
    spin: oneOf(spinUnits, from.spin, defaultSettings.spin),
    hand: oneOf(['right', 'left'], from.hand, defaultSettings.hand),
    sound: oneOf(soundKinds, from.sound, defaultSettings.sound),
    volume:
      typeof from.volume === 'number' && from.volume >= 0 && from.volume <= 1 ? from.volume : defaultSettings.volume,
    vibrate: from.vibrate === true,
    mediaKeys: from.mediaKeys === true,
    language: oneOf(languages, from.language, defaultSettings.language),
  };
}

function figuresOf(value: unknown): readonly ShotMeasureName[] {
  if (!Array.isArray(value)) return defaultSettings.figures;
  const names = value.filter((name): name is ShotMeasureName => typeof name === 'string' && known.has(name));
  const distinct = [...new Set(names)].slice(0, 3);
  return distinct.length >= 2 ? distinct : defaultSettings.figures;
}
