/**
 * Texts of the page by name. English stands in the sources, each catalogue made known here; another language is laid over it, leaf by
 * leaf, and what it lacks stays English. A leaf is a text, or a function that makes one of numbers and names: plurals are the function's affair,
 * by `pluralOf`.
 */
interface Known {
  /** What the page reads: changed in place, so that it can be imported as it stands. */
  readonly live: Record<string, unknown>;
  readonly english: Readonly<Record<string, unknown>>;
}

const known = new Map<string, Known>();
let locale = 'en';
let translate: Translator = () => undefined;

/** Makes a catalogue known. @returns it, in the language of the page from then on. */
export function catalogue<Texts extends object>(name: string, english: Texts): Texts {
  const live = english as Record<string, unknown>;
  const one = { live, english: copyOf(live) };
  known.set(name, one);
  // A screen that is loaded later brings its texts with it.
  overlay(one.live, one.english, translate(name, one.english));
  return english;
}

/** @returns what a language says instead of a catalogue: a tree of the same shape, of which any part may be missing. */
export type Translator = (name: string, english: Readonly<Record<string, unknown>>) => unknown;

/** @param language as in BCP 47. */
export function useLanguage(language: string, translator: Translator): void {
  locale = language;
  translate = translator;
  for (const [name, { live, english }] of known) overlay(live, english, translate(name, english));
}

/** @returns every text through `change`, as a translation. */
export function translatorBy(change: (text: string) => string): Translator {
  const changed = (value: unknown): unknown => {
    if (typeof value === 'string') return value === '' ? value : change(value);
    if (typeof value === 'function')
      return (...words: unknown[]) => changed((value as (...all: unknown[]) => unknown)(...words));
    if (Array.isArray(value)) return value.map(changed);
    if (typeof value !== 'object' || value === null) return value;
    return Object.fromEntries(Object.entries(value).map(([key, inside]) => [key, changed(inside)]));
  };
  return (_name, english) => changed(english);
}

/** @returns the form of a word that a language has for a count: `one` and `other` in English. */
export function pluralOf(
  count: number,
  forms: Partial<Record<Intl.LDMLPluralRule, string>> & { readonly other: string },
): string {
  return forms[new Intl.PluralRules(locale).select(count)] ?? forms.other;
}

function overlay(live: Record<string, unknown>, english: Readonly<Record<string, unknown>>, over: unknown): void {
  const words = (typeof over === 'object' && over !== null ? over : {}) as Record<string, unknown>;
  for (const [key, text] of Object.entries(english)) {
    const inside = live[key];
    if (isTree(text) && isTree(inside)) overlay(inside, text, words[key]);
    else live[key] = typeof words[key] === typeof text ? words[key] : text;
  }
}

function isTree(value: unknown): value is Record<string, unknown> {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}

function copyOf(tree: Readonly<Record<string, unknown>>): Record<string, unknown> {
  return Object.fromEntries(Object.entries(tree).map(([key, value]) => [key, isTree(value) ? copyOf(value) : value]));
}
