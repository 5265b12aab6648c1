const keys = { m: 'make', x: 'miss', u: 'unknown' } as const;

/** @returns the outcome that a key means; null for other keys, and while something is typed. */
export function outcomeOfKey(event: KeyboardEvent): 'make' | 'miss' | 'unknown' | null {
  if (!isCommand(event)) return null;
  return keys[event.key.toLowerCase() as keyof typeof keys] ?? null;
}

/** @returns whether a key is meant for the page as a whole. */
export function isCommand({ ctrlKey, metaKey, altKey, target }: KeyboardEvent): boolean {
  return !ctrlKey && !metaKey && !altKey && !isTypedInto(target);
}

function isTypedInto(target: EventTarget | null): boolean {
  if (target instanceof HTMLInputElement) return !/^(checkbox|radio|range)$/.test(target.type);
  return target instanceof HTMLSelectElement || target instanceof HTMLTextAreaElement;
}
