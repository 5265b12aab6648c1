import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance } from 'fastify';
import Type from 'typebox';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { PlayerWords } from '../../sessions/database/player-records.ts';
import { ageBands, consentScopes, hands } from '../../sessions/database/tables.ts';
import { changeSchema, keptSensorSchema, playerSchema } from '../wire/practice-document.ts';
import { keepPlanOf, keepText, letRecordingsGo } from './keep-recordings.ts';
import { actorOf, answered, bySchema, closed, type PracticeRouteOptions } from './practice-answers.ts';
import { changeDocument, keptSensorDocument, playerDocument } from './practice-documents.ts';

const coach = { access: 'coach' } as const;
const host = { access: 'host' } as const;
const playerParams = Type.Object({ playerId: Type.String({ maxLength: 60 }) });

const playerWords = {
  hand: Type.Optional(Type.Enum([...hands])),
  ageBand: Type.Optional(Type.Enum([...ageBands])),
  ballSize: Type.Optional(Type.Integer({ minimum: 5, maximum: 7 })),
  hoopHeightM: Type.Optional(Type.Number({ minimum: 1.5, maximum: 4 })),
  units: Type.Optional(Type.Enum(['metric', 'us'])),
  notes: Type.Optional(Type.String({ maxLength: 4000 })),
};
const pseudonym = Type.String({ minLength: 1, maxLength: 60 });

const bound = Type.Union([Type.Number({ exclusiveMinimum: 0 }), Type.Null()]);
const policySchema = Type.Object({ days: bound, bytes: bound }, closed);
const keepSchema = Type.Object({
  policy: policySchema,
  totalBytes: Type.Number(),
  bytesAfter: Type.Number(),
  starredBytes: Type.Number(),
  goes: Type.Array(
    Type.Object({
      sessionId: Type.String(),
      startedS: Type.Number(),
      recording: Type.String(),
      sizeBytes: Type.Number(),
      reason: Type.Enum(['age', 'size']),
    }),
  ),
  /** All of it as sentences. */
  text: Type.String(),
});

/** Adds the routes of players, their consents and sensors, the log of changes, and how long recordings are kept. */
export function addClubRoutes(server: FastifyInstance, options: PracticeRouteOptions): void {
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();

  typed.get(
    '/api/players',
    { config: coach, schema: { response: { 200: Type.Object({ players: Type.Array(playerSchema) }) } } },
    async (_request, reply) =>
      answered(options, reply, async ({ store }) => {
        const players = await store.players.list();
        return { players: await Promise.all(players.map(({ id }) => documentOfPlayer(store, id))) };
      }),
  );

  typed.post(
    '/api/players',
    {
      config: coach,
      schema: {
        body: Type.Object({ ...playerWords, pseudonym, by: bySchema }, closed),
        response: { 201: playerSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { by, pseudonym: name, ...words } = request.body;
        const id = await store.players.add(actorOf(request, by), { ...columns(words), pseudonym: name });
        reply.code(201);
        return documentOfPlayer(store, id);
      }),
  );

  typed.patch(
    '/api/players/:playerId',
    {
      config: coach,
      schema: {
        params: playerParams,
        body: Type.Object({ ...playerWords, pseudonym: Type.Optional(pseudonym), by: bySchema }, closed),
        response: { 200: playerSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { by, pseudonym: name, ...words } = request.body;
        const { playerId } = request.params;
        const change = { ...columns(words), ...(name !== undefined && { pseudonym: name }) };
        await store.players.change(actorOf(request, by), playerId, change);
        return documentOfPlayer(store, playerId);
      }),
  );

  typed.post(
    '/api/players/:playerId/consents',
    {
      config: coach,
      schema: {
        summary: 'note that a player, or who may speak for the player, agreed',
        params: playerParams,
        body: Type.Object(
          {
            scope: Type.Enum([...consentScopes]),
            givenByRole: Type.String({
              minLength: 1,
              maxLength: 60,
              description: 'who agreed, such as player or parent',
            }),
            by: bySchema,
          },
          closed,
        ),
        response: { 201: playerSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async (keeper) => {
        const { scope, givenByRole, by } = request.body;
        const { playerId } = request.params;
        await keeper.store.players.giveConsent(actorOf(request, by), playerId, scope, givenByRole);
        await keeper.refreshConsents();
        reply.code(201);
        return documentOfPlayer(keeper.store, playerId);
      }),
  );

  typed.post(
    '/api/players/:playerId/consents/:scope/withdraw',
    {
      config: coach,
      schema: {
        summary: 'end what a player agreed to; what is there stays until it is deleted',
        params: Type.Object({ ...playerParams.properties, scope: Type.Enum([...consentScopes]) }),
        body: Type.Object({ by: bySchema }, closed),
        response: { 200: playerSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async (keeper) => {
        const { playerId, scope } = request.params;
        await keeper.store.players.withdrawConsent(actorOf(request, request.body.by), playerId, scope);
        await keeper.refreshConsents();
        return documentOfPlayer(keeper.store, playerId);
      }),
  );

  typed.get(
    '/api/known-sensors',
    {
      config: coach,
      schema: {
        summary: 'sensors that were in a practice, and whose they are',
        response: { 200: Type.Object({ sensors: Type.Array(keptSensorSchema) }) },
      },
    },
    async (_request, reply) =>
      answered(options, reply, async ({ store }) => ({
        sensors: (await store.players.sensors()).map(keptSensorDocument),
      })),
  );

  typed.patch(
    '/api/known-sensors/:sensorId',
    {
      config: coach,
      schema: {
        summary: 'label of a sensor, and whose it is; its shots are that player’s from then on',
        params: Type.Object({ sensorId: Type.String({ maxLength: 60 }) }),
        body: Type.Object(
          {
            label: Type.Optional(Type.String({ minLength: 1, maxLength: 60 })),
            ownerPlayerId: Type.Optional(Type.Union([Type.String({ maxLength: 60 }), Type.Null()])),
            by: bySchema,
          },
          closed,
        ),
        response: { 200: Type.Object({ sensors: Type.Array(keptSensorSchema) }) },
      },
    },
    async (request, reply) =>
      answered(options, reply, async (keeper) => {
        const { label, ownerPlayerId, by } = request.body;
        await keeper.store.players.changeSensor(actorOf(request, by), request.params.sensorId, {
          ...(label !== undefined && { label }),
          ...(ownerPlayerId !== undefined && { owner_player_id: ownerPlayerId }),
        });
        await keeper.refreshConsents();
        return { sensors: (await keeper.store.players.sensors()).map(keptSensorDocument) };
      }),
  );

  typed.get(
    '/api/changes',
    {
      config: coach,
      schema: {
        summary: 'who changed what, newest first',
        querystring: Type.Object({ limit: Type.Integer({ minimum: 1, maximum: 500, default: 50 }) }, closed),
        response: { 200: Type.Object({ changes: Type.Array(changeSchema) }) },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => ({
        changes: (await store.edits.latest(request.query.limit)).map(changeDocument),
      })),
  );

  typed.post(
    '/api/changes/:changeId/undo',
    {
      config: coach,
      schema: {
        summary: 'undo a change, as a change of its own',
        params: Type.Object({ changeId: Type.String({ maxLength: 60 }) }),
        body: Type.Object({ by: bySchema }, closed),
        response: { 200: Type.Object({ changes: Type.Array(changeSchema) }) },
      },
    },
    async (request, reply) =>
      answered(options, reply, async (keeper) => {
        await keeper.store.edits.undo(actorOf(request, request.body.by), request.params.changeId);
        await keeper.refreshConsents();
        return { changes: (await keeper.store.edits.latest(1)).map(changeDocument) };
      }),
  );

  typed.get(
    '/api/keep',
    {
      config: coach,
      schema: {
        summary: 'how long recordings are kept, and which would go now; with days or bytes: under that policy',
        querystring: Type.Object(
          {
            days: Type.Optional(Type.Number({ exclusiveMinimum: 0 })),
            bytes: Type.Optional(Type.Number({ exclusiveMinimum: 0 })),
          },
          closed,
        ),
        response: { 200: keepSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store, recordingsFolder }) => {
        const { days = null, bytes = null } = request.query;
        const policy = days === null && bytes === null ? undefined : { days, bytes };
        return planDocument(await keepPlanOf(store, recordingsFolder, options.nowS(), policy));
      }),
  );

  typed.put(
    '/api/keep',
    {
      config: host,
      schema: {
        summary:
          'choose how long recordings are kept; what goes by it goes at the next start of the service, and daily',
        body: Type.Object({ days: bound, bytes: bound, by: bySchema }, closed),
        response: { 200: keepSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store, recordingsFolder }) => {
        const { by, ...policy } = request.body;
        await store.keep.changePolicy(actorOf(request, by), policy);
        return planDocument(await keepPlanOf(store, recordingsFolder, options.nowS()));
      }),
  );

  typed.post(
    '/api/keep/apply',
    {
      config: host,
      schema: { summary: 'delete now the recordings that are not kept any longer', response: { 200: keepSchema } },
    },
    async (_request, reply) =>
      answered(options, reply, async ({ store, recordingsFolder }) =>
        planDocument(await letRecordingsGo(store, recordingsFolder, options.nowS(), options.logger)),
      ),
  );
}

function planDocument(plan: Awaited<ReturnType<typeof keepPlanOf>>) {
  const { policy, goes, totalBytes, bytesAfter, starredBytes } = plan;
  return {
    policy,
    totalBytes,
    bytesAfter,
    starredBytes,
    goes: goes.map(({ session, sizeBytes, reason }) => ({
      sessionId: session.id,
      startedS: session.started_s,
      recording: session.recording ?? '',
      sizeBytes,
      reason,
    })),
    text: keepText(plan),
  };
}

async function documentOfPlayer(store: ClubStore, id: string) {
  return playerDocument(await store.players.get(id), await store.players.consents(id));
}

interface PlayerRequest {
  readonly hand?: PlayerWords['hand'];
  readonly ageBand?: PlayerWords['age_band'];
  readonly ballSize?: number;
  readonly hoopHeightM?: number;
  readonly units?: PlayerWords['units'];
  readonly notes?: string;
}

function columns({ ageBand, ballSize, hoopHeightM, ...words }: PlayerRequest): Partial<PlayerWords> {
  return {
    ...words,
    ...(ageBand !== undefined && { age_band: ageBand }),
    ...(ballSize !== undefined && { ball_size: ballSize }),
    ...(hoopHeightM !== undefined && { hoop_height_m: hoopHeightM }),
  };
}
