import { describe, expect, test } from 'vitest';
import { formatOf, interval90, measureFormats, shownFormat, showValue } from '../../src/dashboard/measures.ts';
import { measureLabels, reasonText } from '../../src/dashboard/texts.ts';
import { measured, notMeasured, nullReasons } from '../../src/foundation/measured.ts';
import { shotMeasureNames as everyMeasureName, shotMeasureNames } from '../../src/shots/shot.ts';

test('every measure of a shot has its place on the page, once', () => {
  expect([...shotMeasureNames]).toEqual([...everyMeasureName]);
  expect(measureFormats.map((format) => format.name).sort()).toEqual([...shotMeasureNames].sort());
  expect(Object.keys(measureLabels).sort()).toEqual([...shotMeasureNames].sort());
});

test('every reason has a sentence, and one that is not known is shown as it is', () => {
  for (const reason of Object.keys(nullReasons)) expect(reasonText(reason)).toMatch(/ /);
  expect(reasonText('moonlight')).toBe('moonlight');
});

describe('showValue', () => {
  test('rounds to the decimals of the measure', () => {
    const shown = showValue(measured(0.8249, 0.0149), formatOf('pickupToReleaseS'));
    expect(shown).toEqual({ value: '0.82', error: '0.01', interval: null, sign: 1 });
  });

  test('an error is never shown as zero', () => {
    expect(showValue(measured(0.82, 0.0001), formatOf('pickupToReleaseS'))?.error).toBe('0.01');
    expect(showValue(measured(0.82, 0), formatOf('pickupToReleaseS'))?.error).toBe('0.01');
  });

  test('a side takes the place of the sign', () => {
    expect(showValue(measured(-0.06, 0.02), formatOf('sidePathM'))).toMatchObject({ value: '6', error: '2', sign: -1 });
    expect(showValue(measured(5.94, 0.6), formatOf('axisTiltDeg'))).toMatchObject({ value: '5.9', sign: 1 });
  });

  test('what rounds to zero has no side and no sign', () => {
    expect(showValue(measured(-0.04, 0.6), formatOf('axisTiltDeg'))).toMatchObject({ value: '0.0', sign: 0 });
    expect(showValue(measured(-0.001, 0.6), formatOf('speedMarginMps'))).toMatchObject({ value: '0.00', sign: 0 });
  });

  test('where no side is meant a minus stands', () => {
    expect(showValue(measured(-0.31, 0.02), formatOf('backspinRps'))).toMatchObject({ value: '−0.31', sign: -1 });
  });

  test('a lopsided interval is shown as such', () => {
    const lopsided = measured(0.05, 0.02, { interval90: [0, 0.11] });
    expect(showValue(lopsided, formatOf('pauseS'))?.interval).toEqual([
      { value: '0.00', sign: 0 },
      { value: '0.11', sign: 1 },
    ]);
    const aside = measured(0.13, 0.2, { interval90: [-0.28, 0.37] });
    expect(showValue(aside, formatOf('sidePathM'))?.interval).toEqual([
      { value: '28', sign: -1 },
      { value: '37', sign: 1 },
    ]);
  });

  test('what is missing is not shown as a number', () => {
    expect(showValue(notMeasured('gap'), formatOf('pauseS'))).toBeNull();
  });
});

describe('interval90', () => {
  test('is 1.645 standard errors to each side unless it is given', () => {
    const [low, high] = interval90(measured(0.2, 0.01), formatOf('dipDepthM')) ?? [];
    expect(low).toBeCloseTo(18.355, 3);
    expect(high).toBeCloseTo(21.645, 3);
    expect(interval90(measured(0.2, 0.01, { interval90: [0.1, 0.4] }), formatOf('dipDepthM'))).toEqual([10, 40]);
    expect(interval90(notMeasured('gap'), formatOf('dipDepthM'))).toBeNull();
  });
});

describe('units of the user', () => {
  const metric = { units: 'metric', spin: 'rev/s', hand: 'right' } as const;

  test('metric is what the measures are made for', () => {
    for (const { name } of measureFormats) expect(shownFormat(name, metric)).toEqual(formatOf(name));
  });

  test('feet, inches and turns a minute', () => {
    // 1 ft = 0.3048 m and 1 in = 2.54 cm exactly (international yard and pound agreement, 1959).
    const us = { ...metric, units: 'us', spin: 'rpm' } as const;
    expect(showValue(measured(3.048, 0.01), shownFormat('apexM', us))?.value).toBe('10.0');
    expect(showValue(measured(0.254, 0.01), shownFormat('dipDepthM', us))?.value).toBe('10.0');
    expect(showValue(measured(6.096, 0.01), shownFormat('launchSpeedMps', us))?.value).toBe('20.0');
    expect(showValue(measured(2, 0.01), shownFormat('backspinRps', us))?.value).toBe('120');
    expect(shownFormat('backspinRps', us).unit).toBe('rpm');
  });

  test('sides of a left-hander are told from the off hand, the way the spin turns is not', () => {
    const left = { ...metric, hand: 'left' } as const;
    expect(shownFormat('axisTiltDeg', left).sides).toBe('off-hand');
    expect(shownFormat('rifleSpinRps', left).sides).toBe('turning');
  });
});
