import type { NumberedDocument } from './wire/live-document.ts';

/** Keeps the numbered documents from one run of the service to the next. */
export interface ShotStore {
  /** What earlier runs left, oldest first. */
  readonly found: readonly NumberedDocument[];
  /**
   * Keeps one more document. Returns at once and never throws: a full disk must not stop a practice.
   *
   * @param text the document as JSON, as the clients get it.
   */
  append(document: NumberedDocument, text: string): void;
  /** Why the last document could not be kept, or null while all is well. */
  readonly failure: string | null;
  /** Writes what is still on its way. */
  close(): Promise<void>;
}

/** @returns a store that forgets, for tests and trials. */
export function createForgetfulStore(found: readonly NumberedDocument[] = []): ShotStore {
  return { found, append() {}, failure: null, close: async () => {} };
}
