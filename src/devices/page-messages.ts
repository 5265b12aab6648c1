import type { FromPage } from '../foundation/page-feed.ts';

/** Longest text that a page may say in one field. */
const longestText = 400;

/** @returns a message of a page, or null where the text is none: the page may be anything that runs in a browser. */
export function parseFromPage(text: string): FromPage | null {
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch {
    return null;
  }
  if (typeof value !== 'object' || value === null) return null;
  const fields = value as Readonly<Record<string, unknown>>;
  const { kind } = fields;
  const rules =
    typeof kind === 'string' && Object.hasOwn(fieldRules, kind) ? fieldRules[kind as FromPage['kind']] : null;
  if (rules === null) return null;
  for (const [name, rule] of Object.entries(rules)) if (!rule(fields[name])) return null;
  return fields as unknown as FromPage;
}

type Rule = (value: unknown) => boolean;

const isText: Rule = (value) => typeof value === 'string' && value.length <= longestText;
const isTextOrNull: Rule = (value) => value === null || isText(value);
const isSlot: Rule = (value) => typeof value === 'number' && Number.isInteger(value) && value >= 0 && value <= 255;
const isCount: Rule = (value) => typeof value === 'number' && Number.isSafeInteger(value) && value >= 0;
const isTexts: Rule = (value) =>
  typeof value === 'object' && value !== null && Object.keys(value).length <= 16 && Object.values(value).every(isText);

const fieldRules: Readonly<Record<FromPage['kind'], Readonly<Record<string, Rule>>>> = {
  time: { number: isCount, pageMs: (value) => typeof value === 'number' && Number.isFinite(value) },
  unavailable: { detail: isText, remedy: isText },
  connecting: { slot: isSlot, name: isTextOrNull },
  opened: { slot: isSlot, name: isTextOrNull, description: isText, canIdentify: (value) => typeof value === 'boolean' },
  information: { slot: isSlot, values: isTexts },
  lost: { slot: isSlot, why: isText },
  answer: { call: isCount, bytes: isTextOrNull, problem: isTextOrNull },
};
