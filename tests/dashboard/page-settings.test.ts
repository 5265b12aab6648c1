import fc from 'fast-check';
import { expect, test } from 'vitest';
import { defaultSettings, readSettings } from '../../src/dashboard/settings/page-settings.ts';

test('what was kept comes back', () => {
  const settings = {
    ...defaultSettings,
    ...({ figures: ['axisTiltDeg', 'entryAngleDeg', 'pauseS'], theme: 'contrast', units: 'us', spin: 'rpm' } as const),
    ...({ hand: 'left', sound: 'tone', volume: 0.25, vibrate: true } as const),
  };
  expect(readSettings(JSON.stringify(settings))).toEqual(settings);
});

test('nothing kept, and nonsense, are the defaults', () => {
  for (const text of [
    null,
    '',
    '{',
    '[]',
    '7',
    '"x"',
    'null',
    '{"theme":"pink","volume":7,"figures":["x","pauseS"]}',
  ]) {
    expect(readSettings(text)).toEqual(defaultSettings);
  }
});

test('figures are two or three that exist, each once', () => {
  const of = (figures: unknown) => readSettings(JSON.stringify({ figures })).figures;
  expect(of(['pauseS', 'pauseS', 'flightS'])).toEqual(['pauseS', 'flightS']);
  expect(of(['pauseS'])).toEqual(defaultSettings.figures);
  expect(of(['pauseS', 'flightS', 'apexM', 'spinRps'])).toEqual(['pauseS', 'flightS', 'apexM']);
});

test('whatever stands there, the settings can be used', () => {
  fc.assert(
    fc.property(fc.json(), (text) => {
      const settings = readSettings(text);
      expect(Object.keys(settings).sort()).toEqual(Object.keys(defaultSettings).sort());
      expect(settings.figures.length).toBeGreaterThanOrEqual(2);
    }),
  );
});
