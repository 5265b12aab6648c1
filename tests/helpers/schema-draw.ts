import type { UniformSource } from './uniform-source.ts';

/** A JSON Schema as far as the API's description uses it. */
export interface DrawnSchema {
  readonly type?: string;
  readonly const?: unknown;
  readonly enum?: readonly unknown[];
  readonly anyOf?: readonly DrawnSchema[];
  readonly properties?: Readonly<Record<string, DrawnSchema>>;
  readonly required?: readonly string[];
  readonly items?: DrawnSchema;
  readonly minimum?: number;
  readonly maximum?: number;
  readonly minLength?: number;
  readonly maxLength?: number;
  readonly minItems?: number;
  readonly maxItems?: number;
  readonly pattern?: string;
}

/** What programs stumble over. */
const nasty: readonly unknown[] = [
  ...[
    '',
    ' ',
    '0',
    '-1',
    'null',
    'NaN',
    '1e999',
    '__proto__',
    'constructor',
    '../../etc/passwd',
    '..%2f..%2fetc',
    '%00',
  ],
  ...['<script>alert(1)</script>', "'; DROP TABLE shots; --", '\u0000', '\ud800', '\u202e', 'x'.repeat(5000), '🏀'],
  ...[0, -0, -1, 1e308, -1e308, 2 ** 53, 0.1, 1e-320, null, true, false, [], {}, [[]], { a: { b: {} } }],
];

/**
 * Draws a value that fits a schema, or with some chance one that does not.
 *
 * @param wild chance of nonsense at each place, 0 to 1.
 * @param words texts that mean something to the service where a field of that name stands; most texts are drawn from them.
 */
export function drawValue(
  schema: DrawnSchema,
  uniform: UniformSource,
  wild: number,
  words: (name: string) => readonly string[],
  name = '',
): unknown {
  const pick = <Value>(list: readonly Value[]): Value => list[Math.floor(uniform() * list.length)] as Value;
  if (uniform() < wild) return pick(nasty);
  if (schema.anyOf) return drawValue(pick(schema.anyOf), uniform, wild, words, name);
  if (schema.enum) return pick(schema.enum);
  if ('const' in schema) return schema.const;
  const { minimum = -10, maximum = 10, minLength = 0, maxLength = 40, minItems = 0, maxItems = 4 } = schema;
  switch (schema.type) {
    case 'object': {
      const drawn: Record<string, unknown> = {};
      for (const [field, own] of Object.entries(schema.properties ?? {})) {
        const wanted = schema.required?.includes(field) ? (wild > 0 ? 0.97 : 1) : 0.5;
        if (uniform() < wanted) drawn[field] = drawValue(own, uniform, wild, words, field);
      }
      if (uniform() < wild) drawn[String(pick(nasty)).slice(0, 30)] = pick(nasty);
      return drawn;
    }
    case 'array': {
      const length = minItems + Math.floor(uniform() * (Math.min(maxItems, minItems + 5) - minItems + 1));
      return Array.from({ length }, () => drawValue(schema.items ?? {}, uniform, wild, words, name));
    }
    case 'integer':
      return Math.floor(minimum + uniform() * (Math.min(maximum, minimum + 1000) - minimum + 1));
    case 'number':
      return minimum + uniform() * (maximum - minimum);
    case 'boolean':
      return uniform() < 0.5;
    case 'null':
      return null;
    case 'string': {
      const known = words(name);
      if (known.length > 0 && uniform() < 0.9) return pick(known);
      const length = minLength + Math.floor(uniform() * (Math.min(maxLength, 20) - minLength + 1));
      return Array.from({ length: Math.max(0, length) }, () => pick([...'abcÄ漢 0-_'])).join('');
    }
    default:
      return pick(nasty);
  }
}
