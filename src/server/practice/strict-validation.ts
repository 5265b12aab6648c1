import type { FastifySchemaCompiler } from 'fastify';
import type { TSchema } from 'typebox';
import { Compile } from 'typebox/compile';
import { Value } from 'typebox/value';

/**
 * Checks requests as they are: in a body nothing is converted, and a word that is not known is refused instead of passed
 * over. (What the server does elsewhere makes 0 of null where a number may stand.) Words of an address are text, and become
 * the numbers that they say.
 */
export const strictValidation: FastifySchemaCompiler<TSchema> = ({ schema, httpPart = 'body' }) => {
  const validator = Compile(schema);
  return (given: unknown) => {
    const isBody = httpPart === 'body';
    const value = isBody ? (given ?? {}) : Value.Convert(schema, Value.Default(schema, given));
    if (validator.Check(value)) return { value };
    const places = validator.Errors(value).map(({ instancePath, message, params }) => {
      const names = 'additionalProperties' in params ? `: ${[params.additionalProperties].flat().join(', ')}` : '';
      return `${httpPart}${instancePath} ${message}${names}`;
    });
    const message = [...new Set(places)].slice(0, 3).join('; ');
    return { error: Object.assign(new Error(message), { statusCode: 400, validation: [] }) };
  };
};
