import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance } from 'fastify';
import Type from 'typebox';
import { SeamwiseError } from '../../foundation/errors.ts';
import { shotPhases } from '../../sessions/database/tables.ts';
import { actorOf, answered, bySchema, closed, type PracticeRouteOptions } from '../practice/practice-answers.ts';
import { markDocument } from '../practice/practice-documents.ts';
import { sessionOf } from '../practice/session-routes.ts';
import { markSchema } from '../wire/practice-document.ts';
import { mostSignalColumns, type SignalGroup, signalGroups, signalsSchema } from '../wire/signal-document.ts';
import type { ResearchDesk } from './research-desk.ts';

const coach = { access: 'coach' } as const;
const sessionParams = Type.Object({ sessionId: Type.String({ maxLength: 60 }) });
const markParams = Type.Object({ markId: Type.String({ maxLength: 60 }) });
const phaseParams = Type.Object({ shotId: Type.String({ maxLength: 120 }), phase: Type.Enum([...shotPhases]) });
const changeMade = Type.Object({ changeId: Type.String({ description: 'to undo it by' }) });
const nameSchema = Type.String({ maxLength: 120 });

/** Adds the routes of the signal view: samples of a recording, times set by hand, and marks. */
export function addSignalRoutes(
  server: FastifyInstance,
  options: PracticeRouteOptions,
  desk: () => ResearchDesk,
): void {
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();

  typed.get(
    '/api/sessions/:sessionId/signals',
    {
      config: coach,
      schema: {
        summary: 'which streams the recording of a session holds; asked for the first time, it begins to be read',
        params: sessionParams,
        querystring: Type.Object(
          { anew: Type.Optional(Type.Boolean({ description: 'read it again: a recording that goes on has more' })) },
          closed,
        ),
        response: { 200: signalsSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store, sessionId }) => {
        const session = await store.sessions.get(sessionOf(request.params.sessionId, sessionId));
        const known = await desk().signals(store, session, request.query.anew === true);
        if (known.state === 'reading') return { ...known };
        if (known.state === 'failed')
          throw new SeamwiseError('store-value', `the recording cannot be read: ${known.message}`);
        const { started_s, ended_s } = session;
        return {
          ...{ state: 'ready' as const, startedS: started_s, readS: known.readS },
          isRunning: ended_s === null,
          streams: known.streams.map((stream) => ({ ...stream })),
        };
      }),
  );

  typed.get(
    '/api/sessions/:sessionId/signals/window',
    {
      config: coach,
      schema: {
        summary: 'a stretch of the samples as it is drawn, in numbers of 32 bits behind a head in JSON',
        params: sessionParams,
        querystring: Type.Object(
          {
            fromS: Type.Number({ minimum: -1e7, maximum: 1e7, description: 'since the start of the session' }),
            untilS: Type.Number({ minimum: -1e7, maximum: 1e7 }),
            columns: Type.Integer({ minimum: 1, maximum: mostSignalColumns }),
            groups: Type.String({ pattern: '^(accel|gyro|accel,gyro)$' }),
            streams: Type.Optional(
              Type.String({
                pattern: '^\\d{1,3}(,\\d{1,3}){0,63}$',
                description: 'places in the list of streams; all without',
              }),
            ),
          },
          closed,
        ),
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store, sessionId }) => {
        const { fromS, untilS, columns, groups, streams = '' } = request.query;
        if (!(untilS - fromS >= 1e-4)) {
          throw new SeamwiseError(
            'store-value',
            `from ${fromS} s to ${untilS} s: expected a stretch of at least 0.1 ms`,
          );
        }
        const { id } = await store.sessions.get(sessionOf(request.params.sessionId, sessionId));
        const bytes = await desk().window(id, {
          ...{ fromS, untilS, columns },
          groups: signalGroups.filter((group: SignalGroup) => groups.split(',').includes(group)),
          streams: streams === '' ? [] : streams.split(',').map(Number),
        });
        return reply.type('application/octet-stream').send(Buffer.from(bytes));
      }),
  );

  typed.put(
    '/api/shots/:shotId/times/:phase',
    {
      config: coach,
      schema: {
        summary: 'set a time of a shot by hand, beside what the analysis says',
        params: phaseParams,
        body: Type.Object(
          {
            timeS: Type.Number({ description: 'recording time of the sensor that the times of the shot are of' }),
            resolutionS: Type.Number({ description: 'spacing of its samples there' }),
            by: bySchema,
          },
          closed,
        ),
        response: { 200: changeMade },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { by, ...words } = request.body;
        const [id = ''] = await store.shots.idsOf([request.params.shotId]);
        return store.corrections.set(actorOf(request, by), id, request.params.phase, words);
      }),
  );

  typed.delete(
    '/api/shots/:shotId/times/:phase',
    {
      config: coach,
      schema: {
        summary: 'take a time set by hand back: what the analysis says holds again',
        params: phaseParams,
        response: { 200: changeMade },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const [id = ''] = await store.shots.idsOf([request.params.shotId]);
        return store.corrections.remove(actorOf(request), id, request.params.phase);
      }),
  );

  typed.post(
    '/api/sessions/:sessionId/marks',
    {
      config: coach,
      schema: {
        summary: 'mark an instant of a session that is over or runs, where it was found in the recording',
        params: sessionParams,
        body: Type.Object(
          {
            atS: Type.Number({ description: 'seconds since the Unix epoch' }),
            uncertaintyS: Type.Number({ minimum: 0, maximum: 60, description: 'standard error' }),
            name: Type.Optional(nameSchema),
            by: bySchema,
          },
          closed,
        ),
        response: { 201: markSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store, sessionId }) => {
        const { by, ...words } = request.body;
        const { id } = await store.sessions.get(sessionOf(request.params.sessionId, sessionId));
        const mark = await store.marks.add(actorOf(request, by), id, { ...words, origin: 'hand' });
        reply.code(201);
        return markDocument(mark);
      }),
  );

  typed.patch(
    '/api/marks/:markId',
    {
      config: coach,
      schema: {
        summary: 'give a mark another name',
        params: markParams,
        body: Type.Object({ name: nameSchema, by: bySchema }, closed),
        response: { 200: markSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { by, name } = request.body;
        return markDocument(await store.marks.rename(actorOf(request, by), request.params.markId, name));
      }),
  );

  typed.delete(
    '/api/marks/:markId',
    { config: coach, schema: { summary: 'take a mark away', params: markParams, response: { 204: Type.Null() } } },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        await store.marks.remove(actorOf(request), request.params.markId);
        return reply.code(204).send(null);
      }),
  );
}
