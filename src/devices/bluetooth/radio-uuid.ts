import { normaliseUuid } from '../../protocol/gatt-layout.ts';

/** @returns the UUID in this project's form; noble writes short ones without their leading zeros. */
export function radioUuid(text: string): string {
  return normaliseUuid(text.length < 4 ? text.padStart(4, '0') : text) ?? text.toLowerCase();
}
