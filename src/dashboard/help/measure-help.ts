import { signal } from '@preact/signals';
import type { MeasureHelp } from '../../server/wire/measure-help.ts';
import type { ShotMeasureName } from '../../server/wire/shot-document.ts';
import { ask } from '../api.ts';
import { texts } from '../texts.ts';

export type HelpState = { readonly measures: readonly MeasureHelp[] } | { readonly trouble: string } | null;

/** What the service says of the measures; null before it was asked. */
export const measureHelp = signal<HelpState>(null);
/** The measure whose help is open. */
export const openHelp = signal<ShotMeasureName | null>(null);

/** Asks the service once; after trouble again. */
export async function readHelp(): Promise<void> {
  if (measureHelp.value !== null && 'measures' in measureHelp.value) return;
  const answer = await ask<{ measures: MeasureHelp[] }>('GET', '/api/measures');
  measureHelp.value = answer.ok ? { measures: answer.value.measures } : { trouble: texts.failed(answer.message) };
}
