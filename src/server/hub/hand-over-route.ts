import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance } from 'fastify';
import Type from 'typebox';
import { answered, type PracticeRouteOptions } from '../practice/practice-answers.ts';
import type { HandOverState } from './court-uploader.ts';

const stateSchema = Type.Object({
  /** Null where this court hands over to no hub. */
  hub: Type.Union([
    Type.Object({
      address: Type.String(),
      state: Type.Enum(['working', 'away', 'refused']),
      detail: Type.Union([Type.String(), Type.Null()]),
      waiting: Type.Integer({ minimum: 0 }),
      parked: Type.Integer({ minimum: 0 }),
    }),
    Type.Null(),
  ]),
});

/** Adds `GET /api/hand-over`: how this court does with its hub. */
export function addHandOverRoute(
  server: FastifyInstance,
  options: PracticeRouteOptions,
  state: () => Promise<HandOverState | null>,
): void {
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();
  typed.get(
    '/api/hand-over',
    {
      config: { access: 'coach' },
      schema: { summary: 'how far this court has handed over to its hub', response: { 200: stateSchema } },
    },
    async (_request, reply) => answered(options, reply, async () => ({ hub: await state() })),
  );
}
