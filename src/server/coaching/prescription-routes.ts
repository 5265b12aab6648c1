import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance } from 'fastify';
import Type from 'typebox';
import { faultNames } from '../../coaching/fault-names.ts';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import { actorOf, answered, bySchema, closed, type PracticeRouteOptions } from '../practice/practice-answers.ts';
import { sessionOf } from '../practice/session-routes.ts';
import { prescriptionSchema } from '../wire/coaching-document.ts';
import { askerOf, visiblePlayer } from './coaching-asker.ts';
import { drillNamed } from './drill-routes.ts';
import { prescriptionDocument } from './proof-documents.ts';

const coach = { access: 'coach' } as const;
const playerAccess = { access: 'player' } as const;
const id = Type.String({ maxLength: 60 });
const playerParams = Type.Object({ playerId: id });
const prescriptionParams = Type.Object({ prescriptionId: id });
const word = (most: number, least = 0) => Type.String({ minLength: least, maxLength: most });
const orNull = <Schema extends Type.TSchema>(schema: Schema) => Type.Union([schema, Type.Null()]);

/** Adds the routes of prescribed drills, their blocks and what their proof says. */
export function addPrescriptionRoutes(server: FastifyInstance, options: PracticeRouteOptions): void {
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();

  typed.get(
    '/api/players/:playerId/prescriptions',
    {
      config: playerAccess,
      schema: {
        summary: 'drills given to a player, with what their proof says',
        params: playerParams,
        response: { 200: Type.Object({ prescriptions: Type.Array(prescriptionSchema) }) },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const player = await visiblePlayer(store, request, request.params.playerId);
        const rows = await store.prescriptions.of(player.id);
        return {
          prescriptions: await Promise.all(
            rows.map((row) => prescriptionDocument(store, row, player, askerOf(request))),
          ),
        };
      }),
  );

  typed.post(
    '/api/players/:playerId/prescriptions',
    {
      config: coach,
      schema: {
        summary: 'give a player a drill for a fault, to be proved by its measure',
        params: playerParams,
        body: Type.Object(
          {
            fault: Type.Enum([...faultNames]),
            drill: id,
            faultSide: Type.Optional(
              Type.Union([Type.Literal(1), Type.Literal(-1)], {
                description: '1 where too much of the measure is the fault; by the drill where it is left out',
              }),
            ),
            smallestChange: Type.Optional(Type.Number({ exclusiveMinimum: 0 })),
            namedS: Type.Optional(Type.Number({ description: 'when the fault was named; now by default' })),
            retentionDueS: Type.Optional(orNull(Type.Number())),
            notes: Type.Optional(word(4000)),
            by: bySchema,
          },
          closed,
        ),
        response: { 201: prescriptionSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { by, fault, drill: drillName, notes = '' } = request.body;
        const player = await store.players.get(request.params.playerId);
        const drill = await drillNamed(store, drillName, false);
        const { side, by: usual, measure } = drill.moves;
        const prescriptionId = await store.prescriptions.add(actorOf(request, by), {
          ...{ playerId: player.id, fault, drill, measure, notes },
          faultSide: request.body.faultSide ?? (side === 'less' ? 1 : -1),
          smallestChange: request.body.smallestChange ?? usual,
          namedS: request.body.namedS ?? options.nowS(),
          retentionDueS: request.body.retentionDueS ?? null,
        });
        reply.code(201);
        return prescriptionDocument(store, await store.prescriptions.get(prescriptionId), player, 'coach');
      }),
  );

  typed.patch(
    '/api/prescriptions/:prescriptionId',
    {
      config: coach,
      schema: {
        summary: 'close a prescription, or say when it is tested what was kept',
        params: prescriptionParams,
        body: Type.Object(
          {
            ended: Type.Optional(Type.Boolean()),
            retentionDueS: Type.Optional(orNull(Type.Number())),
            notes: Type.Optional(word(4000)),
            by: bySchema,
          },
          closed,
        ),
        response: { 200: prescriptionSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { by, ...change } = request.body;
        await store.prescriptions.change(actorOf(request, by), request.params.prescriptionId, change);
        return documentOf(store, request.params.prescriptionId);
      }),
  );

  typed.post(
    '/api/prescriptions/:prescriptionId/blocks',
    {
      config: coach,
      schema: {
        summary: 'start a block of a proof: the player’s shots belong to it from now on',
        params: prescriptionParams,
        body: Type.Object(
          {
            role: Type.Enum(['baseline', 'drill', 'retest', 'retention']),
            sessionId: Type.Optional(id),
            spot: Type.Optional(word(60)),
            distanceM: Type.Optional(orNull(Type.Number())),
            by: bySchema,
          },
          closed,
        ),
        response: { 201: prescriptionSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async (keeper) => {
        const { store } = keeper;
        const { by, role, sessionId = 'current', spot = '', distanceM = null } = request.body;
        if (sessionId === 'current' && keeper.sessionId === null) {
          throw new SeamwiseError(
            'no-session',
            'no practice runs: a block is shot in one, which begins when a sensor sends',
          );
        }
        const { id: session } = await store.sessions.get(sessionOf(sessionId, keeper.sessionId));
        const told = { role, spot, distanceM };
        await store.prescriptions.startBlock(actorOf(request, by), request.params.prescriptionId, session, told);
        reply.code(201);
        return documentOf(store, request.params.prescriptionId);
      }),
  );

  typed.patch(
    '/api/blocks/:blockId',
    {
      config: coach,
      schema: {
        summary: 'end a block, or open it again',
        params: Type.Object({ blockId: id }),
        body: Type.Object({ ended: Type.Boolean(), by: bySchema }, closed),
        response: { 200: prescriptionSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { ended, by } = request.body;
        return documentOf(
          store,
          await store.prescriptions.endBlock(actorOf(request, by), request.params.blockId, ended),
        );
      }),
  );
}

async function documentOf(store: ClubStore, prescriptionId: string) {
  const prescription = await store.prescriptions.get(prescriptionId);
  return prescriptionDocument(store, prescription, await store.players.get(prescription.player_id), 'coach');
}
