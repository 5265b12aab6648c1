/** Reads values out of a JSON document written by strangers: every refusal names the place, what was expected and what came. */
import { type ErrorCode, SeamwiseError } from '../foundation/errors.ts';

/** Printable text: no control, format (as those that turn the direction of writing), private or unassigned characters. */
const printable = /^[^\p{C}\p{Zl}\p{Zp}]*$/u;

export interface NumberLimits {
  readonly min: number;
  readonly max: number;
  readonly integer?: boolean;
}

export class DocumentChecks {
  readonly #code: ErrorCode;
  readonly #what: string;

  /** @param what how the document is called in messages, such as `device profile`. */
  constructor(code: ErrorCode, what: string) {
    this.#code = code;
    this.#what = what;
  }

  reject(path: string, expected: string, came: unknown): never {
    const at = path === '' ? 'the document' : path;
    throw new SeamwiseError(this.#code, `${this.#what}, ${at}: expected ${expected}, came ${describe(came)}`);
  }

  /** @returns the object's own values; a key that is neither required nor optional is refused. */
  object(
    value: unknown,
    path: string,
    required: readonly string[],
    optional: readonly string[] = [],
  ): Readonly<Record<string, unknown>> {
    if (typeof value !== 'object' || value === null || Array.isArray(value)) this.reject(path, 'an object', value);
    for (const key of Object.keys(value)) {
      if (!required.includes(key) && !optional.includes(key)) {
        this.reject(path, `only ${[...required, ...optional].join(', ')}`, key);
      }
    }
    const missing = required.find((key) => !Object.hasOwn(value, key));
    if (missing !== undefined) this.reject(path, `a value for ${missing}`, undefined);
    return Object.fromEntries(Object.entries(value));
  }

  text(value: unknown, path: string, maxLength: number, pattern: RegExp = printable, expected = ''): string {
    const length = typeof value === 'string' ? [...value].length : 0;
    if (typeof value !== 'string' || !(length >= 1 && length <= maxLength) || !pattern.test(value)) {
      this.reject(path, expected || `1 to ${maxLength} printable characters`, value);
    }
    return value;
  }

  number(value: unknown, path: string, { min, max, integer = false }: NumberLimits): number {
    if (typeof value !== 'number' || !(value >= min && value <= max) || (integer && !Number.isInteger(value))) {
      this.reject(path, `a ${integer ? 'whole number' : 'number'} from ${min} to ${max}`, value);
    }
    return value;
  }

  boolean(value: unknown, path: string): boolean {
    if (typeof value !== 'boolean') this.reject(path, 'true or false', value);
    return value;
  }

  oneOf<Name extends string | number>(value: unknown, path: string, names: readonly Name[]): Name {
    const found = names.find((name) => name === value);
    if (found === undefined) this.reject(path, `one of ${names.join(', ')}`, value);
    return found;
  }

  list<Item>(
    value: unknown,
    path: string,
    min: number,
    max: number,
    item: (value: unknown, path: string) => Item,
  ): readonly Item[] {
    if (!Array.isArray(value) || !(value.length >= min && value.length <= max)) {
      this.reject(path, `a list of ${min} to ${max}`, Array.isArray(value) ? `one of ${value.length}` : value);
    }
    return Object.freeze(value.map((each: unknown, at) => item(each, `${path}[${at}]`)));
  }
}

/** Short, and without what a terminal would take for an order. */
function describe(came: unknown): string {
  if (came === undefined) return 'nothing';
  const text = typeof came === 'string' ? `"${came}"` : (JSON.stringify(came) ?? typeof came);
  const plain = text.replaceAll(/[\p{C}\p{Zl}\p{Zp}]/gu, '?');
  const characters = [...plain];
  return characters.length > 60 ? `${characters.slice(0, 60).join('')}…` : plain;
}
