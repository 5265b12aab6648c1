/**
 * Splits one row of a CSV file at its commas; a field in quotes may hold commas and doubled quotes (RFC 4180, section 2).
 * A field that goes on in the next line does not come whole: a recording's rows are single lines.
 *
 * @returns the fields, those in quotes without them, or null when a quote is not closed.
 */
export function splitCsvRow(text: string): string[] | null {
  if (!text.includes('"')) return text.split(',');
  const fields: string[] = [];
  let at = 0;
  for (;;) {
    let open = at;
    while (text[open] === ' ' || text[open] === '\t') open += 1;
    let comma: number;
    if (text[open] === '"') {
      let close = text.indexOf('"', open + 1);
      while (close >= 0 && text[close + 1] === '"') close = text.indexOf('"', close + 2);
      if (close < 0) return null;
      comma = text.indexOf(',', close);
      fields.push(text.slice(open + 1, close).replaceAll('""', '"'));
    } else {
      comma = text.indexOf(',', at);
      fields.push(text.slice(at, comma < 0 ? text.length : comma));
    }
    if (comma < 0) return fields;
    at = comma + 1;
  }
}
