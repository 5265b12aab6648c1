import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance } from 'fastify';
import Type from 'typebox';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Session, SetWords } from '../../sessions/database/session-records.ts';
import { setKinds } from '../../sessions/database/tables.ts';
import {
  factorSchema,
  markSchema,
  rotationSchema,
  sessionSchema,
  sessionShotsSchema,
  setSchema,
} from '../wire/practice-document.ts';
import { recordingBytes } from './keep-recordings.ts';
import { actorOf, answered, bySchema, closed, type PracticeRouteOptions } from './practice-answers.ts';
import { markDocument, rotationDocument, sessionDocument, setDocument } from './practice-documents.ts';

const coach = { access: 'coach' } as const;
const player = { access: 'player' } as const;
const sessionParams = Type.Object({
  sessionId: Type.String({ maxLength: 60, description: 'id of a session, or "current" for the one that runs' }),
});
const setParams = Type.Object({ setId: Type.String({ maxLength: 60 }) });
const rotationParams = Type.Object({ rotationId: Type.String({ maxLength: 60 }) });

const listQuery = Type.Object(
  {
    limit: Type.Integer({ minimum: 1, maximum: 1000, default: 50 }),
    beforeS: Type.Optional(Type.Number({ description: 'start of the last session of the page before' })),
  },
  closed,
);

const setWords = {
  playerId: Type.Optional(Type.Union([Type.String(), Type.Null()])),
  kind: Type.Optional(Type.Enum([...setKinds])),
  name: Type.Optional(Type.String({ maxLength: 120 })),
  spot: Type.Optional(Type.String({ maxLength: 60 })),
  distanceM: Type.Optional(Type.Union([Type.Number(), Type.Null()])),
  notes: Type.Optional(Type.String({ maxLength: 4000 })),
};
const setBody = Type.Object(
  { ...setWords, factors: Type.Optional(Type.Array(factorSchema, { maxItems: 20 })), by: bySchema },
  closed,
);
const setChange = Type.Object(
  {
    ...setWords,
    ended: Type.Optional(Type.Boolean()),
    total: Type.Optional(
      Type.Union([Type.Object({ made: Type.Integer(), attempted: Type.Integer() }, closed), Type.Null()]),
    ),
    by: bySchema,
  },
  closed,
);

/** How far a person with a key is from the instant that is meant: reaction to a sign that was awaited, and the way of the key. */
const keyUncertaintyS = 0.1;
/** A program that says "now" over the loopback. */
const apiUncertaintyS = 0.02;

/** Adds the routes of sessions, and of sets, rounds and marks in them. */
export function addSessionRoutes(server: FastifyInstance, options: PracticeRouteOptions): void {
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();

  typed.get(
    '/api/sessions',
    {
      config: coach,
      schema: {
        summary: 'sessions, newest first, with the sizes of their recordings',
        querystring: listQuery,
        response: { 200: Type.Object({ sessions: Type.Array(sessionSchema) }) },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store, recordingsFolder }) => {
        const lines = await store.sessions.list(request.query);
        const sizes = await recordingSizes(store, recordingsFolder, lines);
        const sessions = lines.map(({ shotCount, setCount, ...session }) => ({
          ...sessionDocument(session, sizes.get(session.id) ?? null),
          shotCount,
          setCount,
        }));
        return { sessions };
      }),
  );

  typed.get(
    '/api/sessions/:sessionId',
    {
      config: coach,
      schema: {
        summary: 'a session with its sets, running rounds and marks, and how many shots it has of whom',
        params: sessionParams,
        response: {
          200: Type.Object({
            session: sessionSchema,
            sets: Type.Array(setSchema),
            rotations: Type.Array(rotationSchema),
            marks: Type.Array(markSchema),
            shotsOf: Type.Array(sessionShotsSchema),
          }),
        },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store, recordingsFolder, sessionId }) => {
        const id = sessionOf(request.params.sessionId, sessionId);
        const session = await store.sessions.get(id);
        const sizes = await recordingSizes(store, recordingsFolder, [session]);
        return {
          session: sessionDocument(session, sizes.get(id) ?? null),
          sets: (await store.sessions.sets(id)).map(setDocument),
          rotations: (await store.rotations.running(id)).map(rotationDocument),
          marks: (await store.marks.list(id)).map(markDocument),
          shotsOf: await store.shots.countsIn(id),
        };
      }),
  );

  typed.patch(
    '/api/sessions/:sessionId',
    {
      config: coach,
      schema: {
        summary: 'name, notes or star of a session; the recording of a starred one is always kept',
        params: sessionParams,
        body: Type.Object(
          {
            name: Type.Optional(Type.String({ maxLength: 120 })),
            notes: Type.Optional(Type.String({ maxLength: 4000 })),
            starred: Type.Optional(Type.Boolean()),
            by: bySchema,
          },
          closed,
        ),
        response: { 200: sessionSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store, recordingsFolder, sessionId }) => {
        const { by, ...change } = request.body;
        const id = sessionOf(request.params.sessionId, sessionId);
        await store.sessions.change(actorOf(request, by), id, change);
        const session = await store.sessions.get(id);
        return sessionDocument(session, (await recordingSizes(store, recordingsFolder, [session])).get(id) ?? null);
      }),
  );

  typed.post(
    '/api/sessions/:sessionId/sets',
    {
      config: coach,
      schema: {
        summary: 'start a set; shots belong to it from now on',
        params: sessionParams,
        body: setBody,
        response: { 201: setSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store, sessionId }) => {
        const { by, factors = [], ...words } = request.body;
        const id = sessionOf(request.params.sessionId, sessionId);
        const setId = await store.sessions.startSet(actorOf(request, by), id, columns(words), factors);
        reply.code(201);
        return documentOfSet(store, setId);
      }),
  );

  typed.patch(
    '/api/sets/:setId',
    {
      config: coach,
      schema: {
        summary: 'change a set, end it, or say how many of its shots were made',
        params: setParams,
        body: setChange,
        response: { 200: setSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { by, ended, total, ...words } = request.body;
        await store.sessions.changeSet(actorOf(request, by), request.params.setId, {
          ...columns(words),
          ...(ended !== undefined && { ended }),
          ...(total !== undefined && { total }),
        });
        return documentOfSet(store, request.params.setId);
      }),
  );

  typed.put(
    '/api/sets/:setId/factors/:factor',
    {
      config: coach,
      schema: {
        summary: 'the level of a condition of a set, such as hop for footwork; null takes the condition away',
        params: Type.Object({ ...setParams.properties, factor: Type.String({ minLength: 1, maxLength: 60 }) }),
        body: Type.Object(
          { level: Type.Union([Type.String({ minLength: 1, maxLength: 60 }), Type.Null()]), by: bySchema },
          closed,
        ),
        response: { 200: setSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { setId, factor } = request.params;
        const { level, by } = request.body;
        await store.sessions.setFactor(actorOf(request, by), setId, factor, level);
        return documentOfSet(store, setId);
      }),
  );

  typed.post(
    '/api/sessions/:sessionId/rotations',
    {
      config: coach,
      schema: {
        summary: 'start a round: the players shoot in turn, so many shots each',
        params: sessionParams,
        body: Type.Object(
          {
            playerIds: Type.Array(Type.String({ maxLength: 60 }), { minItems: 1, maxItems: 60 }),
            shotsEach: Type.Integer({ minimum: 1, maximum: 1000 }),
            sensorId: Type.Optional(Type.Union([Type.String({ maxLength: 60 }), Type.Null()])),
            by: bySchema,
          },
          closed,
        ),
        response: { 201: rotationSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store, sessionId }) => {
        const { by, sensorId = null, ...words } = request.body;
        const id = sessionOf(request.params.sessionId, sessionId);
        const rotationId = await store.rotations.start(actorOf(request, by), id, { ...words, sensorId });
        reply.code(201);
        return rotationDocument(await store.rotations.get(rotationId));
      }),
  );

  typed.patch(
    '/api/rotations/:rotationId',
    {
      config: coach,
      schema: {
        summary: 'move the turn of a round, or end it',
        params: rotationParams,
        body: Type.Object(
          {
            turn: Type.Optional(Type.Integer({ minimum: 0, maximum: 1e9 })),
            ended: Type.Optional(Type.Boolean()),
            by: bySchema,
          },
          closed,
        ),
        response: { 200: rotationSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { by, turn, ended } = request.body;
        const { rotationId } = request.params;
        const change = { ...(turn !== undefined && { turn }), ...(ended !== undefined && { ended }) };
        await store.rotations.change(actorOf(request, by), rotationId, change);
        return rotationDocument(await store.rotations.get(rotationId));
      }),
  );

  typed.post(
    '/api/marks',
    {
      config: player,
      schema: {
        summary: 'mark an instant of the running session, to bring it together with another recording',
        body: Type.Object(
          {
            name: Type.Optional(Type.String({ maxLength: 120 })),
            origin: Type.Optional(Type.Enum(['key', 'api'])),
            agoS: Type.Optional(
              Type.Number({
                minimum: 0,
                maximum: 3600,
                description: 'how long ago it was, by the clock of whoever asks',
              }),
            ),
            uncertaintyS: Type.Optional(
              Type.Number({
                minimum: 0,
                maximum: 60,
                description: `standard error; assumed ${keyUncertaintyS} s for a key and ${apiUncertaintyS} s for a program`,
              }),
            ),
            by: bySchema,
          },
          closed,
        ),
        response: { 201: markSchema },
      },
    },
    async (request, reply) => {
      const heardS = options.nowS();
      return answered(options, reply, async (keeper) => {
        const { name = '', origin = 'api', agoS = 0, by } = request.body;
        const uncertaintyS = request.body.uncertaintyS ?? (origin === 'key' ? keyUncertaintyS : apiUncertaintyS);
        const words = { atS: heardS - agoS, uncertaintyS, origin, name };
        const mark = await keeper.setMark(actorOf(request, by), words);
        reply.code(201);
        return markDocument(mark);
      });
    },
  );
}

/** @returns the id that is meant. */
export function sessionOf(word: string, current: string | null): string {
  return word === 'current' ? (current ?? word) : word;
}

/** @returns sizes of recordings by session, in the folder or, handed over by a court, in the database; none of a hub that lacks it. */
async function recordingSizes(
  store: ClubStore,
  folder: string,
  sessions: readonly Pick<Session, 'id' | 'recording'>[],
): Promise<ReadonlyMap<string, number>> {
  const recorded = sessions.filter(({ recording }) => recording !== null);
  const handed = await store.handedRecordings.sizes(recorded.map(({ id }) => id));
  const isHub = store.engine === 'postgres';
  return new Map(
    recorded.flatMap(({ id, recording }) => {
      const bytes = handed.get(id) ?? (isHub ? null : recordingBytes(folder, recording ?? ''));
      return bytes === null ? [] : [[id, bytes] as const];
    }),
  );
}

interface SetRequest {
  readonly playerId?: string | null;
  readonly kind?: SetWords['kind'];
  readonly name?: string;
  readonly spot?: string;
  readonly distanceM?: number | null;
  readonly notes?: string;
}

function columns({ playerId, distanceM, ...words }: SetRequest): Partial<SetWords> {
  return {
    ...words,
    ...(playerId !== undefined && { player_id: playerId }),
    ...(distanceM !== undefined && { distance_m: distanceM }),
  };
}

async function documentOfSet(store: ClubStore, setId: string) {
  return setDocument(await store.sessions.set(setId));
}
