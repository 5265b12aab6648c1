import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance } from 'fastify';
import Type from 'typebox';
import type { StoredShot } from '../sessions/database/shot-records.ts';
import { measureDefinitions } from '../shots/measure-definitions.ts';
import { shotMeasureNames } from '../shots/shot.ts';
import { compareGroups } from './compare/compare-groups.ts';
import { actorOf, answered, bySchema, closed, type PracticeRouteOptions } from './practice/practice-answers.ts';
import { setDocument } from './practice/practice-documents.ts';
import type { PracticeKeeper } from './practice/practice-keeper.ts';
import { sessionOf } from './practice/session-routes.ts';
import { compareSchema } from './wire/compare-document.ts';
import { measureHelpSchema } from './wire/measure-help.ts';
import { setSchema } from './wire/practice-document.ts';

const coach = { access: 'coach' } as const;
const sideId = Type.String({
  pattern: '^(player|set)=[\\w.-]{1,60}$',
  description: 'player=<id> or set=<id>',
});

/** Adds what single screens of the page need beyond rows of the store. */
export function addScreenRoutes(server: FastifyInstance, options: PracticeRouteOptions): void {
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();

  typed.get(
    '/api/first-run',
    {
      config: coach,
      schema: {
        summary: 'whether the data folder held nothing before this run and holds no player yet',
        response: { 200: Type.Object({ isFirstRun: Type.Boolean() }) },
      },
    },
    async (_request, reply) =>
      answered(options, reply, async ({ store, sessionId }) => {
        const sessions = await store.sessions.list({ limit: 2 });
        const earlier = sessions.filter(({ id }) => id !== sessionId);
        return { isFirstRun: earlier.length === 0 && (await store.players.list()).length === 0 };
      }),
  );

  typed.get(
    '/api/measures',
    {
      config: { access: 'viewer' as const },
      schema: { summary: 'what each measure is and what limits it', response: { 200: measureHelpSchema } },
    },
    async (_request, reply) => {
      reply.header('cache-control', 'no-cache');
      return { measures: shotMeasureNames.map((name) => ({ name, ...measureDefinitions[name] })) };
    },
  );

  typed.post(
    '/api/sessions/:sessionId/end-sets',
    {
      config: { access: 'player' as const },
      schema: {
        summary: 'end every set that runs, at once: somebody is hurt. Nothing is noted but the end of the sets.',
        params: Type.Object({ sessionId: Type.String({ maxLength: 60 }) }),
        body: Type.Object({ by: bySchema }, closed),
        response: { 200: Type.Object({ sets: Type.Array(setSchema) }) },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store, sessionId }) => {
        const wanted = sessionOf(request.params.sessionId, sessionId);
        // Whoever is hurt where nothing runs has nothing to be told.
        if (wanted === 'current') return { sets: [] };
        const { id } = await store.sessions.get(wanted);
        const running = (await store.sessions.sets(id)).filter(({ ended_s }) => ended_s === null);
        const actor = actorOf(request, request.body.by);
        for (const set of running) await store.sessions.changeSet(actor, set.id, { ended: true });
        return { sets: await Promise.all(running.map(async (set) => setDocument(await store.sessions.set(set.id)))) };
      }),
  );

  typed.get(
    '/api/compare',
    {
      config: coach,
      schema: {
        summary: 'two players or two sets side by side in one measure, and whether they can be told apart at all',
        querystring: Type.Object(
          {
            one: sideId,
            two: sideId,
            measure: Type.Enum([...shotMeasureNames]),
            sessionId: Type.Optional(
              Type.String({
                maxLength: 60,
                description: 'shots of this session alone; "current" for the one that runs',
              }),
            ),
          },
          closed,
        ),
        response: { 200: compareSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async (keeper) => {
        const { one, two, measure, sessionId } = request.query;
        const within = sessionId === undefined ? undefined : sessionOf(sessionId, keeper.sessionId);
        const groups = await Promise.all([one, two].map((word) => groupOf(keeper, word, within)));
        const [first, second] = groups as [(typeof groups)[number], (typeof groups)[number]];
        return compareGroups(first, second, measure);
      }),
  );
}

async function groupOf({ store }: PracticeKeeper, word: string, sessionId: string | undefined) {
  const [kind, id] = word.split('=', 2) as ['player' | 'set', string];
  const filter = sessionId === undefined ? {} : { sessionId };
  let shots: StoredShot[];
  if (kind === 'player') {
    await store.players.get(id);
    shots = await store.shots.all({ ...filter, playerId: id });
  } else {
    await store.sessions.set(id);
    shots = await store.shots.all({ ...filter, setId: id });
  }
  return { kind, id, shots };
}
