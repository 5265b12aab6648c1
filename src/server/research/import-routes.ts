import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance } from 'fastify';
import Type from 'typebox';
import { SeamwiseError } from '../../foundation/errors.ts';
import { parseCsvMapping } from '../../sessions/exchange/csv-mapping.ts';
import { instantInZone, requireTimeZone } from '../../sessions/exchange/zoned-time.ts';
import { armMounts } from '../../shots/shot.ts';
import { actorOf, answered, bySchema, closed, type PracticeRouteOptions } from '../practice/practice-answers.ts';
import { jobSchema, uploadSchema } from '../wire/research-document.ts';
import { asValue, localZone } from './asked-words.ts';
import type { ResearchDesk } from './research-desk.ts';
import { uploadLimits } from './uploads.ts';

const coach = { access: 'coach' } as const;
const importParams = Type.Object({ importId: Type.String({ maxLength: 60 }) });
const mostFiles = 16;

const ballSize = Type.Union([Type.Literal(7), Type.Literal(6), Type.Literal(5)]);
const fileWords = Type.Object(
  {
    placement: Type.Optional(Type.Enum(['ball', 'wrist'])),
    filterDelayMs: Type.Optional(Type.Number({ minimum: 0, maximum: 1000 })),
    mapping: Type.Optional(
      Type.Record(Type.String({ maxLength: 40 }), Type.Unknown(), {
        description: 'which columns are what, as a mapping file says it',
      }),
    ),
  },
  closed,
);

/** Adds the routes by which a page sends recordings to be imported, part by part. */
export function addImportRoutes(
  server: FastifyInstance,
  options: PracticeRouteOptions,
  desk: () => ResearchDesk,
): void {
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();
  const { partBytes, limitBytes } = uploadLimits;
  server.addContentTypeParser(
    'application/octet-stream',
    { parseAs: 'buffer', bodyLimit: partBytes },
    (_request, body, done) => done(null, body),
  );

  typed.post(
    '/api/imports',
    {
      config: coach,
      schema: {
        summary: 'announce the recordings of one practice: one .mcap, or CSV files whose times are of one clock',
        body: Type.Object(
          {
            files: Type.Array(
              Type.Object(
                {
                  name: Type.String({ minLength: 1, maxLength: 300 }),
                  bytes: Type.Integer({ minimum: 0, maximum: 1e15 }),
                  modifiedS: Type.Optional(Type.Number({ minimum: 0, maximum: 1e11 })),
                },
                closed,
              ),
              { minItems: 1, maxItems: mostFiles },
            ),
          },
          closed,
        ),
        response: { 201: uploadSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async () => {
        const files = request.body.files.map(({ modifiedS = null, ...file }) => ({ ...file, modifiedS }));
        const id = desk().uploads.announce(files);
        reply.code(201);
        return { id, partBytes, limitBytes };
      }),
  );

  typed.put(
    '/api/imports/:importId/files/:index',
    {
      config: coach,
      bodyLimit: partBytes,
      schema: {
        summary: 'the next part of a file, as it is (application/octet-stream)',
        params: Type.Object({
          ...importParams.properties,
          index: Type.Integer({ minimum: 0, maximum: mostFiles - 1 }),
        }),
        querystring: Type.Object(
          { at: Type.Integer({ minimum: 0, description: 'bytes of the file before the part' }) },
          closed,
        ),
        response: { 200: Type.Object({ received: Type.Integer() }) },
      },
    },
    async (request, reply) =>
      answered(options, reply, async () => {
        const { body } = request;
        if (!Buffer.isBuffer(body)) {
          throw new SeamwiseError('upload-refused', 'expected the bytes of the part as application/octet-stream');
        }
        const { importId, index } = request.params;
        return { received: await desk().uploads.append(importId, index, request.query.at, body) };
      }),
  );

  typed.post(
    '/api/imports/:importId/start',
    {
      config: coach,
      bodyLimit: 256 * 1024,
      schema: {
        summary: 'import the files that were sent as one session: all of it or nothing',
        params: importParams,
        body: Type.Object(
          {
            /** One for each file, in their order; a .mcap recording says these things itself. */
            files: Type.Array(fileWords, { minItems: 1, maxItems: mostFiles }),
            mount: Type.Optional(Type.Enum([...armMounts])),
            playerId: Type.Optional(Type.String({ maxLength: 60 })),
            started: Type.Optional(
              Type.String({
                maxLength: 40,
                description: 'when the times were 0: 2026-11-20T18:00 as a clock there showed it',
              }),
            ),
            timeZone: Type.Optional(Type.String({ maxLength: 60, description: 'of the place, such as Europe/Berlin' })),
            name: Type.Optional(Type.String({ maxLength: 120 })),
            ballSize: Type.Optional(ballSize),
            hoopHeightM: Type.Optional(Type.Number({ minimum: 1.5, maximum: 4 })),
            releaseHeightM: Type.Optional(Type.Number({ minimum: 0.5, maximum: 4 })),
            distanceM: Type.Optional(Type.Number({ minimum: 0.5, maximum: 30 })),
            by: bySchema,
          },
          closed,
        ),
        response: { 202: jobSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const {
          files,
          mount = null,
          playerId = null,
          started,
          timeZone,
          name = null,
          by,
          ...saidSettings
        } = request.body;
        const zone = timeZone === undefined ? localZone() : asValue(() => requireTimeZone(timeZone));
        const startedS = started === undefined ? null : asValue(() => instantInZone(started, zone));
        if (playerId !== null) await store.players.requireConsent(playerId, 'record');
        const sources = files.map(({ placement = null, filterDelayMs, mapping }, at) => ({
          placement,
          mount: placement === 'wrist' ? mount : null,
          mapping: mapping === undefined ? null : mappingOf(mapping, at),
          filterDelayS: filterDelayMs === undefined ? null : filterDelayMs / 1000,
        }));
        const words = { sources, saidSettings, playerId, startedS, timeZone: zone, name: name === '' ? null : name };
        const job = desk().import(store, request.params.importId, { ...words, actor: actorOf(request, by) });
        reply.code(202);
        return { ...job, messages: [...job.messages], counts: { ...job.counts } };
      }),
  );

  typed.delete(
    '/api/imports/:importId',
    {
      config: coach,
      schema: { summary: 'throw away what was sent', params: importParams, response: { 204: Type.Null() } },
    },
    async (request, reply) =>
      answered(options, reply, async () => {
        desk().uploads.remove(request.params.importId);
        return reply.code(204).send(null);
      }),
  );
}

/** @throws SeamwiseError `store-value` with the place and what was expected there. */
function mappingOf(mapping: object, at: number) {
  try {
    return parseCsvMapping(JSON.stringify(mapping), `columns of file ${at + 1}`);
  } catch (error) {
    if (error instanceof SeamwiseError) throw new SeamwiseError('store-value', error.message);
    throw error;
  }
}
