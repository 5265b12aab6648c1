/** Markup that may stand in a document as it is. */
export interface Markup {
  readonly markup: string;
}

type Part = Markup | string | number | null | false | readonly Part[];

/**
 * Template tag for markup: what is put in is text and is escaped, unless it is markup itself. Names that people typed can so never become
 * markup.
 */
export function html(pieces: TemplateStringsArray, ...parts: readonly Part[]): Markup {
  let markup = pieces[0]!;
  for (const [i, part] of parts.entries()) markup += written(part) + pieces[i + 1]!;
  return { markup };
}

function written(part: Part): string {
  if (part === null || part === false) return '';
  if (Array.isArray(part)) return (part as readonly Part[]).map(written).join('');
  return typeof part === 'object' ? (part as Markup).markup : escaped(String(part));
}

export function escaped(text: string): string {
  return text
    .replaceAll('&', '&amp;')
    .replaceAll('<', '&lt;')
    .replaceAll('>', '&gt;')
    .replaceAll('"', '&quot;')
    .replaceAll("'", '&#39;');
}
