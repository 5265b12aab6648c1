import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance } from 'fastify';
import Type from 'typebox';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import { seededSource } from '../../study/seeded-source.ts';
import { actorOf, answered, bySchema, closed, type PracticeRouteOptions } from '../practice/practice-answers.ts';
import { sessionOf } from '../practice/session-routes.ts';
import {
  loadSchema,
  playerCoachingSchema,
  playerSetSchema,
  sessionStudySchema,
  targetsSchema,
} from '../wire/coaching-document.ts';
import { visiblePlayer } from './coaching-asker.ts';
import { bandDocuments, playerCoachingDocument, playerSetDocument } from './coaching-documents.ts';
import { loadDocument } from './load-document.ts';
import { ownTimeZone } from './local-day.ts';
import { bandsOf, isBanded, newestSeer } from './player-watch.ts';
import { sessionStudyDocument } from './session-study-document.ts';

const coach = { access: 'coach' } as const;
const playerAccess = { access: 'player' } as const;
const id = Type.String({ maxLength: 60 });
const setsToChooseFrom = 60;
const playerParams = Type.Object({ playerId: id });
const orNull = <Schema extends Type.TSchema>(schema: Schema) => Type.Union([schema, Type.Null()]);

/** Adds the routes of what is seen of a player: findings, a practice as a whole, targets, and load. */
export function addCoachingRoutes(server: FastifyInstance, options: PracticeRouteOptions): void {
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();

  typed.get(
    '/api/players/:playerId/coaching',
    {
      config: playerAccess,
      schema: {
        summary: 'what is seen of a player in a practice: the newest one, the one named, or "current"',
        params: playerParams,
        querystring: Type.Object({ sessionId: Type.Optional(id) }, closed),
        response: { 200: playerCoachingSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async (keeper) => {
        const { store } = keeper;
        const player = await visiblePlayer(store, request, request.params.playerId);
        const asked = request.query.sessionId;
        const sessionId =
          asked === undefined ? await store.shots.newestSessionOf(player.id) : sessionOf(asked, keeper.sessionId);
        if (sessionId !== null) await store.sessions.get(sessionId);
        return playerCoachingDocument(store, player, sessionId);
      }),
  );

  typed.get(
    '/api/players/:playerId/sessions/:sessionId/study',
    {
      config: playerAccess,
      schema: {
        summary: 'a practice of a player as a whole: drift, own spread, starts, range',
        params: Type.Object({ playerId: id, sessionId: id }),
        response: { 200: sessionStudySchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async (keeper) => {
        const { store } = keeper;
        const player = await visiblePlayer(store, request, request.params.playerId);
        const { id: sessionId } = await store.sessions.get(sessionOf(request.params.sessionId, keeper.sessionId));
        return sessionStudyDocument(store, player, sessionId, seededSource(`${player.id} ${sessionId}`));
      }),
  );

  typed.get(
    '/api/players/:playerId/targets',
    {
      config: playerAccess,
      schema: {
        summary: 'bands of a player with where each comes from',
        params: playerParams,
        querystring: Type.Object(
          {
            seenBy: Type.Optional(
              Type.Enum(['ball', 'arm'], {
                description:
                  'whose best shots make own bands; left out: the sensor that saw most of the newest practice',
              }),
            ),
          },
          closed,
        ),
        response: { 200: targetsSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const player = await visiblePlayer(store, request, request.params.playerId);
        return targetsDocument(store, player.id, request.query.seenBy);
      }),
  );

  typed.put(
    '/api/players/:playerId/targets/:measure',
    {
      config: coach,
      schema: {
        summary: 'set a band by hand, in the unit of the measure; null takes it away',
        params: Type.Object({ playerId: id, measure: id }),
        body: Type.Object(
          {
            band: orNull(
              Type.Object(
                {
                  target: Type.Optional(orNull(Type.Number())),
                  low: Type.Optional(orNull(Type.Number())),
                  high: Type.Optional(orNull(Type.Number())),
                },
                closed,
              ),
            ),
            by: bySchema,
          },
          closed,
        ),
        response: { 200: targetsSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { playerId, measure } = request.params;
        const { band, by } = request.body;
        if (!isBanded(measure)) {
          throw new SeamwiseError(
            'store-value',
            `no rule looks at ${JSON.stringify(measure)}: expected a measure with a band`,
          );
        }
        const told = band && { target: band.target ?? null, low: band.low ?? null, high: band.high ?? null };
        await store.coaching.setTarget(actorOf(request, by), playerId, measure, told);
        return targetsDocument(store, playerId);
      }),
  );

  typed.get(
    '/api/players/:playerId/sets',
    {
      config: playerAccess,
      schema: {
        summary: 'the last sets that a player shot, newest first, to choose the best ones from',
        params: playerParams,
        response: { 200: Type.Object({ sets: Type.Array(playerSetSchema) }) },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const player = await visiblePlayer(store, request, request.params.playerId);
        const sets = await store.coaching.setsShotBy(player.id, setsToChooseFrom);
        return { sets: sets.map(playerSetDocument) };
      }),
  );

  typed.put(
    '/api/players/:playerId/best-sets',
    {
      config: coach,
      schema: {
        summary: 'say which sets were the best of a player; two of 20 shots together make bands',
        params: playerParams,
        body: Type.Object({ setIds: Type.Array(id, { maxItems: 200 }), by: bySchema }, closed),
        response: { 200: targetsSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { setIds, by } = request.body;
        await store.coaching.setBestSets(actorOf(request, by), request.params.playerId, setIds);
        return targetsDocument(store, request.params.playerId);
      }),
  );

  typed.get(
    '/api/players/:playerId/load',
    {
      config: playerAccess,
      schema: {
        summary:
          'shots and minutes by day and week, with the cautions for the age; there is no limit of shots among them',
        params: playerParams,
        response: { 200: loadSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const player = await visiblePlayer(store, request, request.params.playerId);
        return loadDocument(store, player, options.nowS(), ownTimeZone());
      }),
  );

  typed.put(
    '/api/players/:playerId/load/:date',
    {
      config: coach,
      schema: {
        summary: 'tell shots and minutes of a day that no sensor saw; null takes them away',
        params: Type.Object({ playerId: id, date: id }),
        body: Type.Object(
          {
            load: orNull(
              Type.Object(
                {
                  shots: Type.Integer({ minimum: 0, maximum: 10_000 }),
                  minutes: Type.Number({ minimum: 0, maximum: 1440 }),
                },
                closed,
              ),
            ),
            by: bySchema,
          },
          closed,
        ),
        response: { 200: loadSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { playerId, date } = request.params;
        const player = await store.players.get(playerId);
        await store.coaching.setLoad(actorOf(request, request.body.by), playerId, date, request.body.load);
        return loadDocument(store, player, options.nowS(), ownTimeZone());
      }),
  );
}

async function targetsDocument(store: ClubStore, playerId: string, seenBy?: 'ball' | 'arm') {
  return {
    playerId,
    bands: bandDocuments(await bandsOf(store, playerId, seenBy ?? (await newestSeer(store, playerId)))),
    bestSetIds: await store.coaching.bestSets(playerId),
  };
}
