import Type from 'typebox';
import { Compile } from 'typebox/compile';
import { type HandedEntity, handedEntities } from '../../sessions/database/hub-tables.ts';
import {
  type ColumnKind,
  type HandedDocument,
  type HandedTable,
  handedColumns,
  handedParts,
} from '../../sessions/hub/handed-tables.ts';

/** What courts and their hub tell each other, by `/api/hub`. */

const closed = { additionalProperties: false } as const;
/** A longer text is none that this program writes. */
const longestText = 1_000_000;
const mostParts = 2000;

const kinds: Readonly<Record<ColumnKind, Type.TSchema>> = {
  text: Type.String({ maxLength: longestText }),
  'text?': Type.Union([Type.String({ maxLength: longestText }), Type.Null()]),
  number: Type.Number(),
  'number?': Type.Union([Type.Number(), Type.Null()]),
};

function rowSchema(table: HandedTable) {
  const columns = Object.entries(handedColumns[table] as Readonly<Record<string, ColumnKind>>);
  return Type.Object(Object.fromEntries(columns.map(([name, kind]) => [name, kinds[kind]])), closed);
}

function documentSchema(entity: HandedEntity) {
  const parts = Object.keys(handedParts[entity] ?? {}) as HandedTable[];
  const partSchemas = parts.map((table) => [
    table,
    Type.Optional(Type.Array(rowSchema(table), { maxItems: mostParts })),
  ]);
  return Type.Object(
    {
      entity: Type.Literal(entity),
      id: Type.String({ minLength: 1, maxLength: 120 }),
      seq: Type.Integer({ minimum: 0 }),
      row: Type.Union([rowSchema(entity), Type.Null()]),
      parts: Type.Object(Object.fromEntries(partSchemas), closed),
      withheldS: Type.Optional(Type.Number()),
    },
    closed,
  );
}

type Validator = Pick<ReturnType<typeof Compile>, 'Check' | 'Errors'>;

/** Made when the first document of its kind comes: most commands never see one. */
const validators = new Map<HandedEntity, Validator>();

function validatorOf(entity: HandedEntity): Validator {
  const known = validators.get(entity);
  if (known) return known;
  const made: Validator = Compile(documentSchema(entity));
  validators.set(entity, made);
  return made;
}

/**
 * Looks at a document as strictly as at any request, but by itself: one that is wrong does not hold up those beside it.
 *
 * @returns what is wrong with it, or null.
 */
export function faultOf(document: unknown): string | null {
  const entity = (document as { readonly entity?: HandedEntity }).entity;
  if (entity === undefined || !handedEntities.includes(entity)) {
    return `entity: expected one of ${handedEntities.join(', ')}`;
  }
  const validator = validatorOf(entity);
  if (validator.Check(document)) return null;
  const faults = [...validator.Errors(document)].map(({ instancePath, message }) => `${instancePath} ${message}`);
  return [...new Set(faults)].slice(0, 3).join('; ') || 'it is no document of this version';
}

/** Documents of one request at most; what must be there first counts among them. */
const mostDocuments = 1000;

const value = Type.Union([Type.String({ maxLength: longestText }), Type.Number(), Type.Null()]);
const row = Type.Record(Type.String({ maxLength: 40 }), value);

/** A thing as it stands where it comes from; which columns there are `handed-tables.ts` says, and each document is held against it. */
const anyDocument = Type.Object(
  {
    entity: Type.Enum([...handedEntities]),
    id: Type.String({ minLength: 1, maxLength: 120 }),
    seq: Type.Integer({ minimum: 0, maximum: Number.MAX_SAFE_INTEGER }),
    row: Type.Union([row, Type.Null()]),
    parts: Type.Record(Type.String({ maxLength: 40 }), Type.Array(row, { maxItems: mostParts })),
    withheldS: Type.Optional(Type.Number()),
  },
  closed,
);

export const handOverBody = Type.Object({ documents: Type.Array(anyDocument, { maxItems: mostDocuments }) }, closed);

/** What came of a document, in the order of the documents. */
export const handOverAnswer = Type.Object({
  results: Type.Array(
    Type.Object({
      state: Type.Enum(['taken', 'older', 'waits', 'barred', 'refused']),
      /** With `older`: number of the change that came before. */
      seenSeq: Type.Optional(Type.Integer()),
      /** With `refused`: why. */
      reason: Type.Optional(Type.String()),
    }),
  ),
});
export type HandOverAnswer = Type.Static<typeof handOverAnswer>;

export const toldDocuments = Type.Object({
  documents: Type.Array(anyDocument),
  /** Number up to which nothing is left out. */
  upTo: Type.Integer({ minimum: 0 }),
});
export type ToldDocuments = { readonly documents: readonly HandedDocument[]; readonly upTo: number };

export const courtSchema = Type.Object({ id: Type.String(), name: Type.String() });

export const recordingState = Type.Object({
  complete: Type.Boolean(),
  /** Places of pieces that have not come, from 0, at most a thousand. */
  missing: Type.Array(Type.Integer()),
});
export type WireRecordingState = Type.Static<typeof recordingState>;
