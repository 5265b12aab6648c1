import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance } from 'fastify';
import Type from 'typebox';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { HandedDocument } from '../../sessions/hub/handed-tables.ts';
import { actorOf, answered, bySchema, closed, type PracticeRouteOptions } from '../practice/practice-answers.ts';
import {
  courtSchema,
  faultOf,
  type HandOverAnswer,
  handOverAnswer,
  handOverBody,
  recordingState,
  toldDocuments,
} from '../wire/hub-document.ts';
import { HandOverDesk } from './hand-over-desk.ts';

type Result = HandOverAnswer['results'][number];

const court = { access: 'court' } as const;
const handOverBytes = 4 * 1024 * 1024;
/** A piece of a recording at most, bytes. */
export const mostPieceBytes = 1024 * 1024;
const checksum = Type.String({ pattern: '^[0-9a-f]{64}$', description: 'SHA-256 in hexadecimal' });
const recordingParams = Type.Object({ sessionId: Type.String({ minLength: 1, maxLength: 60 }) });
const id = Type.String({ minLength: 1, maxLength: 60 });

/** Adds what courts ask of their hub: each shows the key that the hub gave it. */
export function addHubRoutes(server: FastifyInstance, options: PracticeRouteOptions): void {
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();
  const desk = new HandOverDesk();
  if (!server.hasContentTypeParser('application/octet-stream')) {
    server.addContentTypeParser(
      'application/octet-stream',
      { parseAs: 'buffer', bodyLimit: mostPieceBytes },
      (_request, body, done) => done(null, body),
    );
  }

  typed.get(
    '/api/hub/court',
    { config: court, schema: { summary: 'which court the key is of', response: { 200: courtSchema } } },
    async (request, reply) =>
      answered(options, reply, async () => {
        const { id, name } = courtOf(request.court);
        return { id, name };
      }),
  );

  typed.post(
    '/api/hub/documents',
    {
      config: court,
      bodyLimit: handOverBytes,
      schema: {
        summary: 'hand over what was changed on a court; as often as one likes, in any order',
        body: handOverBody,
        response: { 200: handOverAnswer },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const faults = request.body.documents.map(faultOf);
        const documents = request.body.documents.filter((_, at) => faults[at] === null) as unknown as HandedDocument[];
        const taken = await desk.take(store, courtOf(request.court), documents);
        return {
          results: faults.map((reason) => (reason === null ? (taken.shift() as Result) : { state: 'refused', reason })),
        };
      }),
  );

  typed.get(
    '/api/hub/documents',
    {
      config: court,
      schema: {
        summary:
          'what a court has to know of the others: players, coaching, calibrations, what people changed, and what became of players',
        querystring: Type.Object(
          {
            after: Type.Integer({ minimum: 0, maximum: Number.MAX_SAFE_INTEGER }),
            limit: Type.Integer({ minimum: 1, maximum: 500, default: 200 }),
          },
          closed,
        ),
        response: { 200: toldDocuments },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { after, limit } = request.query;
        const { documents, upTo } = await store.hub.forCourt(after, limit);
        return { documents: [...documents] as never, upTo };
      }),
  );

  typed.put(
    '/api/hub/recordings/:sessionId',
    {
      config: court,
      schema: {
        summary: 'announce a recording, or ask what is missing of it',
        params: recordingParams,
        body: Type.Object(
          {
            byteCount: Type.Integer({ minimum: 1, maximum: 1e12 }),
            pieceBytes: Type.Integer({ minimum: 1, maximum: mostPieceBytes }),
            checksum,
          },
          closed,
        ),
        response: { 200: recordingState },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { sessionId } = request.params;
        const state = await store.handedRecordings.announce(courtOf(request.court).id, { sessionId, ...request.body });
        return { ...state, missing: [...state.missing] };
      }),
  );

  typed.put(
    '/api/hub/recordings/:sessionId/pieces/:place',
    {
      config: court,
      bodyLimit: mostPieceBytes,
      schema: {
        summary: 'a piece of a recording, as it is (application/octet-stream)',
        params: Type.Object({ ...recordingParams.properties, place: Type.Integer({ minimum: 0, maximum: 1e9 }) }),
        querystring: Type.Object({ checksum }, closed),
        response: { 200: recordingState },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { body } = request;
        if (!Buffer.isBuffer(body)) {
          throw new SeamwiseError('upload-refused', 'expected the bytes of the piece as application/octet-stream');
        }
        const { sessionId, place } = request.params;
        const piece = { place, checksum: request.query.checksum, content: body };
        const state = await store.handedRecordings.takePiece(courtOf(request.court).id, sessionId, piece);
        return { ...state, missing: [...state.missing] };
      }),
  );

  typed.post(
    '/api/hub/join-players',
    {
      config: { access: 'coach' },
      schema: {
        summary: 'say that two players are one: everything of the one becomes the other’s, on every court; not undone',
        body: Type.Object({ playerId: id, intoPlayerId: id, by: bySchema }, closed),
        response: { 200: Type.Object({ playerId: Type.String() }) },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { playerId, intoPlayerId, by } = request.body;
        await store.hub.joinPlayers(actorOf(request, by), playerId, intoPlayerId);
        return { playerId: intoPlayerId };
      }),
  );
}

/** The guard lets nobody on without. */
function courtOf(known: { readonly id: string; readonly name: string } | null) {
  if (known === null) throw new Error('a route for courts was reached without the key of one');
  return known;
}
