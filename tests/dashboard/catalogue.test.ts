import { afterEach, describe, expect, test } from 'vitest';
import { catalogue, pluralOf, translatorBy, useLanguage } from '../../src/dashboard/locale/catalogue.ts';
import { shownNumber } from '../../src/dashboard/locale/numbers.ts';
import { pseudoTranslation } from '../../src/dashboard/locale/pseudo-locale.ts';

const words = catalogue('of a test', {
  plain: 'Shots',
  shots: (count: number) => pluralOf(count, { one: `${count} shot`, other: `${count} shots` }),
  deep: { list: ['one', 'two'], inside: 'Inside' },
});
const noOther = (): undefined => undefined;
const tree = (words: Readonly<Record<string, unknown>>) => (name: string) => words[name];
afterEach(() => useLanguage('en', noOther));

describe('a catalogue', () => {
  test('speaks another language wherever it is read, and English for what that lacks', () => {
    useLanguage(
      'de',
      tree({
        'of a test': {
          plain: 'Würfe',
          shots: (count: number) => pluralOf(count, { one: `${count} Wurf`, other: `${count} Würfe` }),
        },
      }),
    );
    expect([words.plain, words.shots(1), words.shots(3), words.deep.inside]).toEqual([
      'Würfe',
      '1 Wurf',
      '3 Würfe',
      'Inside',
    ]);
    useLanguage('en', noOther);
    expect([words.plain, words.shots(1), words.shots(0)]).toEqual(['Shots', '1 shot', '0 shots']);
  });

  test('plurals follow the language, not the count of one', () => {
    // SOURCE: plural rules of the Unicode CLDR: in Polish 2 to 4 are "few", 5 and more "many".
    useLanguage('pl', noOther);
    const forms = { one: 'rzut', few: 'rzuty', many: 'rzutów', other: 'rzutu' };
    expect([1, 2, 5, 22].map((count) => pluralOf(count, forms))).toEqual(['rzut', 'rzuty', 'rzutów', 'rzuty']);
  });

  test('a translation of another shape does no harm', () => {
    useLanguage('xx', tree({ 'of a test': { plain: 7, shots: 'text', deep: 'text' } }));
    expect([words.plain, words.shots(2), words.deep.inside]).toEqual(['Shots', '2 shots', 'Inside']);
  });

  test('made strange, every text of it is marked, longer, and still holds its numbers', () => {
    useLanguage('en', pseudoTranslation());
    expect(words.plain).toMatch(/^⟦Shöts~+⟧$|^⟦Šhöts~+⟧$|^⟦Šhötš~+⟧$/);
    expect(words.shots(12)).toMatch(/^⟦12 .*~⟧$/);
    expect(words.deep.list.every((word) => word.startsWith('⟦'))).toBe(true);
    const upper = translatorBy((text) => text.toUpperCase());
    expect(upper('of a test', { plain: 'Shots' })).toEqual({ plain: 'SHOTS' });
    // A catalogue that comes later speaks it too.
    expect(catalogue('later', { word: 'Later' }).word).toMatch(/^⟦/);
  });
});

describe('numbers', () => {
  test('have their decimals, a long minus, and no sign where they round to nothing', () => {
    expect([shownNumber(1.005, 1), shownNumber(-12.34, 1), shownNumber(-0.04, 1), shownNumber(1234, 0)]).toEqual([
      '1.0',
      '−12.3',
      '0.0',
      '1234',
    ]);
  });
});
