import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance, FastifyReply } from 'fastify';
import Type from 'typebox';
import type { Clock } from '../foundation/clock.ts';
import { SeamwiseError } from '../foundation/errors.ts';
import {
  longestPlayerName,
  type SpinPlayer,
  type WristCalibrationStore,
} from '../sessions/wrist-calibration/wrist-calibration-store.ts';
import { keepSpinReference } from './spin-references.ts';

const playerParams = Type.Object({ player: Type.String({ minLength: 1, maxLength: longestPlayerName }) });

const closed = { additionalProperties: false };
const referenceBody = Type.Object(
  {
    mount: Type.Union([Type.Literal('forearm'), Type.Literal('back-of-hand')]),
    snapDegps: Type.Number({ minimum: 0, maximum: 20_000 }),
    snapErrorDegps: Type.Optional(Type.Number({ minimum: 0, maximum: 20_000 })),
    spin: Type.Union([
      Type.Object(
        {
          kind: Type.Literal('counted'),
          revolutions: Type.Number(),
          frames: Type.Number(),
          frameRateHz: Type.Number(),
          countError: Type.Optional(Type.Number({ minimum: 0, maximum: 2 })),
        },
        closed,
      ),
      Type.Object(
        {
          kind: Type.Literal('ball-sensor'),
          spinRps: Type.Number(),
          spinErrorRps: Type.Number({ minimum: 0 }),
        },
        closed,
      ),
    ]),
  },
  closed,
);

/**
 * Adds `GET`, `POST` and `DELETE /api/spin-references/:player`.
 *
 * @param playerOf whom a name or an id means.
 */
export function addSpinReferenceRoutes(
  server: FastifyInstance,
  store: WristCalibrationStore,
  clock: Clock,
  playerOf: (word: string) => Promise<SpinPlayer>,
): void {
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();
  const schema = { params: playerParams };
  const config = { access: 'coach' as const };

  typed.get('/api/spin-references/:player', { config, schema }, async (request, reply) =>
    answered(reply, async () => {
      reply.header('cache-control', 'no-store');
      return { references: await store.references(await playerOf(request.params.player)) };
    }),
  );

  typed.post(
    '/api/spin-references/:player',
    { config, schema: { ...schema, body: referenceBody } },
    async (request, reply) =>
      answered(reply, async () => {
        const answer = await keepSpinReference(store, await playerOf(request.params.player), request.body, clock);
        if (answer.kind === 'kept') return reply.code(201).send(answer);
        return reply.code(422).send({ error: answer.reason, message: answer.evidence });
      }),
  );

  typed.delete('/api/spin-references/:player', { config, schema }, async (request, reply) =>
    answered(reply, async () => ({ cleared: await store.clear(await playerOf(request.params.player)) })),
  );
}

/** Trouble with the file is the user's to mend, so its sentence goes out. */
async function answered(reply: FastifyReply, work: () => Promise<unknown>): Promise<unknown> {
  try {
    return await work();
  } catch (error) {
    if (!(error instanceof SeamwiseError)) throw error;
    return reply
      .code(error.code === 'spin-player-name' ? 400 : 409)
      .send({ error: error.code, message: error.message });
  }
}
