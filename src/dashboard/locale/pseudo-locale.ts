import { type Translator, translatorBy } from './catalogue.ts';

const letters: Readonly<Record<string, string>> = {
  a: 'á',
  c: 'ç',
  e: 'é',
  i: 'í',
  n: 'ñ',
  o: 'ö',
  s: 'š',
  u: 'ü',
  y: 'ý',
  A: 'Å',
  E: 'É',
  O: 'Ö',
  S: 'Š',
};
/** Of a word that grows in another language, about so much (W3C, Text size in translation, 2007: 30 to 100 % for short texts). */
const growth = 0.35;

/**
 * No language but English seen through a glass: every text of a catalogue stands between ⟦ and ⟧, has other letters and is a third longer.
 * What is seen without them does not come from a catalogue; what is cut off would be so in a longer language.
 */
export function pseudoTranslation(): Translator {
  return translatorBy((text) => {
    if (!/[a-z]/i.test(text) || text.startsWith('⟦')) return text;
    const odd = [...text].map((letter) => letters[letter] ?? letter).join('');
    // In words of a length that a line can be broken at.
    const more = '~'.repeat(Math.ceil(growth * text.length * 0.6)).replace(/~{7}(?=~)/g, '~~~~~~~ ');
    return `⟦${odd}${more}⟧`;
  });
}
