import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance } from 'fastify';
import Type from 'typebox';
import { SeamwiseError } from '../../foundation/errors.ts';
import { missSides, outcomes } from '../../sessions/database/tables.ts';
import { rowChangeSchema, storedShotSchema } from '../wire/practice-document.ts';
import { actorOf, answered, bySchema, closed, type PracticeRouteOptions } from './practice-answers.ts';
import { rowChangeDocument, storedShotDocument } from './practice-documents.ts';
import type { PracticeKeeper } from './practice-keeper.ts';
import { sessionOf } from './session-routes.ts';

const coach = { access: 'coach' } as const;
const player = { access: 'player' } as const;
/** Longer than the other bodies: a range of shots may be many. */
const bodyLimit = 256 * 1024;

/** Which shots are meant: by their ids or the names of the live stream, a range of a session, or the newest one. */
const whichShots = Type.Union([
  Type.Object(
    { shotIds: Type.Array(Type.String({ minLength: 1, maxLength: 120 }), { minItems: 1, maxItems: 5000 }) },
    closed,
  ),
  Type.Object(
    {
      sessionId: Type.String({ maxLength: 60, description: 'id of a session, or "current"' }),
      from: Type.Integer({ minimum: 1, description: 'first shot, counted from 1 in the order of time' }),
      to: Type.Integer({ minimum: 1, description: 'last shot' }),
    },
    closed,
  ),
  Type.Object({ newestOf: Type.String({ maxLength: 60, description: 'id of a session, or "current"' }) }, closed),
]);
type WhichShots = Type.Static<typeof whichShots>;

const changed = Type.Object({ shotIds: Type.Array(Type.String()) });

/** Adds the routes of stored shots: reading, outcomes, whose they are, and their sets. */
export function addShotRoutes(server: FastifyInstance, options: PracticeRouteOptions): void {
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();

  typed.get(
    '/api/sessions/:sessionId/shots',
    {
      config: coach,
      schema: {
        summary: 'shots of a session in the order of time, page by page, from the first on or from the newest back',
        params: Type.Object({ sessionId: Type.String({ maxLength: 60 }) }),
        querystring: Type.Object(
          {
            limit: Type.Integer({ minimum: 1, maximum: 2000, default: 500 }),
            afterS: Type.Optional(Type.Number({ description: 'with afterId: the last shot of the page before' })),
            afterId: Type.Optional(Type.String({ maxLength: 60 })),
            newest: Type.Optional(Type.Boolean({ description: 'the last shots of the session instead of the first' })),
            beforeS: Type.Optional(
              Type.Number({ description: 'with newest and beforeId: the first shot of the page that was read before' }),
            ),
            beforeId: Type.Optional(Type.String({ maxLength: 60 })),
          },
          closed,
        ),
        response: {
          200: Type.Object({
            shots: Type.Array(storedShotSchema),
            earlier: Type.Optional(
              Type.Integer({ minimum: 0, description: 'with newest: shots of the session that lie before these' }),
            ),
          }),
        },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store, sessionId }) => {
        const { limit, afterS, afterId, newest = false, beforeS, beforeId } = request.query;
        if (newest ? afterS !== undefined : beforeS !== undefined) {
          throw new SeamwiseError(
            'store-value',
            'expected afterS and afterId without "newest", or beforeS and beforeId with "newest=true"',
          );
        }
        const id = sessionOf(request.params.sessionId, sessionId);
        await store.sessions.get(id);
        const after = afterS === undefined ? undefined : { atS: afterS, id: afterId ?? '' };
        const before = beforeS === undefined ? undefined : { atS: beforeS, id: beforeId ?? '' };
        const filter = {
          sessionId: id,
          limit,
          newestFirst: newest,
          ...(after && { after }),
          ...(before && { before }),
        };
        const listed = await store.shots.list(filter);
        const shots = newest ? listed.toReversed() : listed;
        const corrections = await store.corrections.of(shots.map((shot) => shot.id));
        const [first] = shots;
        const start = first === undefined ? before : { atS: first.at_s, id: first.id };
        return {
          shots: shots.map((shot) => storedShotDocument(shot, corrections.get(shot.id) ?? [])),
          ...(newest && { earlier: start === undefined ? 0 : await store.shots.countBefore(id, start) }),
        };
      }),
  );

  typed.post(
    '/api/shots/tag',
    {
      config: player,
      bodyLimit,
      schema: {
        summary: 'say what became of shots, by hand or by key',
        body: Type.Object(
          {
            which: whichShots,
            outcome: Type.Optional(Type.Enum([...outcomes])),
            missSide: Type.Optional(Type.Union([Type.Enum([...missSides]), Type.Null()])),
            notes: Type.Optional(Type.String({ maxLength: 4000 })),
            by: bySchema,
          },
          closed,
        ),
        response: { 200: changed },
      },
    },
    async (request, reply) =>
      answered(options, reply, async (keeper) => {
        const { which, by, ...tag } = request.body;
        const shotIds = await idsOf(keeper, which);
        await keeper.store.shots.tag(actorOf(request, by), shotIds, tag);
        return { shotIds };
      }),
  );

  typed.post(
    '/api/shots/assign',
    {
      config: coach,
      bodyLimit,
      schema: {
        summary: 'give shots to a player, or to nobody',
        body: Type.Object(
          { which: whichShots, playerId: Type.Union([Type.String({ maxLength: 60 }), Type.Null()]), by: bySchema },
          closed,
        ),
        response: { 200: changed },
      },
    },
    async (request, reply) =>
      answered(options, reply, async (keeper) => {
        const { which, playerId, by } = request.body;
        const shotIds = await idsOf(keeper, which);
        await keeper.store.shots.assign(actorOf(request, by), shotIds, playerId);
        return { shotIds };
      }),
  );

  typed.post(
    '/api/shots/put-into-set',
    {
      config: coach,
      bodyLimit,
      schema: {
        summary: 'put shots into a set of their session, or out of any',
        body: Type.Object(
          { which: whichShots, setId: Type.Union([Type.String({ maxLength: 60 }), Type.Null()]), by: bySchema },
          closed,
        ),
        response: { 200: changed },
      },
    },
    async (request, reply) =>
      answered(options, reply, async (keeper) => {
        const { which, setId, by } = request.body;
        const shotIds = await idsOf(keeper, which);
        await keeper.store.shots.putIntoSet(actorOf(request, by), shotIds, setId);
        return { shotIds };
      }),
  );

  typed.get(
    '/api/shots/:shotId/changes',
    {
      config: coach,
      schema: {
        summary: 'who changed what of a shot, oldest first',
        params: Type.Object({ shotId: Type.String({ maxLength: 120 }) }),
        response: { 200: Type.Object({ changes: Type.Array(rowChangeSchema) }) },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const [id = ''] = await store.shots.idsOf([request.params.shotId]);
        return { changes: (await store.edits.historyOf(id)).map(rowChangeDocument) };
      }),
  );
}

async function idsOf({ store, sessionId }: PracticeKeeper, which: WhichShots): Promise<string[]> {
  if ('shotIds' in which) return store.shots.idsOf(which.shotIds);
  const { id } = await store.sessions.get(
    sessionOf('sessionId' in which ? which.sessionId : which.newestOf, sessionId),
  );
  if ('from' in which) {
    const ids = await store.shots.range(id, which.from, which.to);
    if (ids.length > 0) return ids;
    throw new SeamwiseError(
      'store-value',
      `shots ${which.from} to ${which.to}: expected numbers of shots that the session has, the first not after the last`,
    );
  }
  const newest = await store.shots.newest(id);
  if (newest === null) throw new SeamwiseError('store-value', 'the session has no shot yet: expected one at least');
  return [newest];
}
