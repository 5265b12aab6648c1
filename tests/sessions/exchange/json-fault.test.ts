import fc from 'fast-check';
import { expect, it } from 'vitest';
import { findJsonFault } from '../../../src/sessions/exchange/json-fault.ts';

it.each([
  ['{"a": }', 6],
  ['{"a": 1,}', 8],
  ['[1 2]', 3],
  ['{a: 1}', 1],
  ['"open', 0],
  ['[1, 2', 5],
  ['{"a" 1}', 5],
  ['nul', 0],
  ['1 1', 2],
  ['', 0],
  ['01', 1],
])('finds where %s stops being JSON', (text, at) => {
  expect(() => JSON.parse(text)).toThrow();
  expect(findJsonFault(text)).toBe(at);
});

it('finds nothing in JSON, and something in what the engine refuses', () => {
  const text = fc.json({ maxDepth: 4 });
  fc.assert(
    fc.property(text, (json) => {
      expect(findJsonFault(json)).toBe(json.length);
    }),
  );
  fc.assert(
    fc.property(text, fc.nat(), fc.string({ maxLength: 2 }), (json, place, put) => {
      const at = place % (json.length + 1);
      const changed = json.slice(0, at) + put + json.slice(at + 1);
      let isJson = true;
      try {
        JSON.parse(changed);
      } catch {
        isJson = false;
      }
      const isWhole = findJsonFault(changed) === changed.length;
      // A text that only lacks its end is faulty at its end too.
      if (isJson) expect(isWhole).toBe(true);
      if (!isWhole) expect(isJson).toBe(false);
    }),
  );
});
