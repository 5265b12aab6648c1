/** Where a text stops being JSON (RFC 8259). Engines say it in words of their own, or not at all. */

const space = /[ \t\n\r]*/y;
const scalar =
  // biome-ignore lint/suspicious/noControlCharactersInRegex: JSON forbids them in strings.
  /"(?:[^"\\\u0000-\u001f]|\\(?:["\\/bfnrt]|u[0-9a-fA-F]{4}))*"|-?(?:0|[1-9]\d*)(?:\.\d+)?(?:[eE][+-]?\d+)?|true|false|null/y;

/** @returns index of the first character that no JSON text could have there; the length of the text where its end is missing. */
export function findJsonFault(text: string): number {
  let at = 0;
  const skip = (pattern: RegExp): boolean => {
    pattern.lastIndex = at;
    const found = pattern.exec(text);
    if (found) at = pattern.lastIndex;
    return found !== null;
  };
  const take = (character: string): boolean => {
    skip(space);
    if (text[at] !== character) return false;
    at += 1;
    return true;
  };
  // Brackets that are open, without recursion: a file may hold any number of them.
  const open: string[] = [];
  for (;;) {
    skip(space);
    const isKey = open.at(-1) === '}';
    if (isKey && !(text[at] === '"' && skip(scalar) && take(':'))) return at;
    if (take('{')) {
      if (!take('}')) {
        open.push('}');
        continue;
      }
    } else if (take('[')) {
      if (!take(']')) {
        open.push(']');
        continue;
      }
    } else if (!skip(scalar)) return at;
    for (;;) {
      const bracket = open.at(-1);
      if (bracket === undefined) {
        skip(space);
        return at;
      }
      if (take(',')) break;
      if (!take(bracket)) return at;
      open.pop();
    }
  }
}
