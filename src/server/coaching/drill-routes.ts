import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance } from 'fastify';
import Type from 'typebox';
import { type Drill, drillLibrary } from '../../coaching/drills.ts';
import { faultNames } from '../../coaching/fault-names.ts';
import { faultRules } from '../../coaching/fault-rules.ts';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import { requireNumber, requireText } from '../../sessions/database/store-context.ts';
import { shotMeasureNames } from '../../shots/shot.ts';
import { actorOf, answered, bySchema, closed, type PracticeRouteOptions } from '../practice/practice-answers.ts';
import { drillSchema, drillsSchema } from '../wire/coaching-document.ts';
import { drillDocument } from './coaching-documents.ts';

const coach = { access: 'coach' } as const;
const playerAccess = { access: 'player' } as const;
const id = Type.String({ maxLength: 60 });
const word = (most: number, least = 0) => Type.String({ minLength: least, maxLength: most });
const lines = (most: number) => Type.Array(word(600, 1), { maxItems: most });

const ownDrillBody = {
  title: word(80, 1),
  forFaults: Type.Array(Type.Enum([...faultNames]), { minItems: 1, maxItems: faultNames.length }),
  purpose: word(600, 1),
  setUp: word(600),
  steps: lines(12),
  dose: Type.Object(
    {
      sets: Type.Integer({ minimum: 1, maximum: 20 }),
      shotsASet: Type.Integer({ minimum: 1, maximum: 100 }),
      daysAWeek: Type.Integer({ minimum: 1, maximum: 7 }),
    },
    closed,
  ),
  progressions: lines(12),
  fromAge: Type.Number({ minimum: 0, maximum: 120 }),
  cautions: lines(12),
  moves: Type.Object(
    {
      measure: Type.Enum([...shotMeasureNames]),
      side: Type.Enum(['less', 'more']),
      by: Type.Number({ exclusiveMinimum: 0, maximum: 10_000 }),
    },
    closed,
  ),
};

/** Words of a drill take more room than other bodies. */
const bodyLimit = 64 * 1024;

/** Adds the routes of drills: those of the library, and a coach's own. */
export function addDrillRoutes(server: FastifyInstance, options: PracticeRouteOptions): void {
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();

  typed.get(
    '/api/drills',
    {
      config: playerAccess,
      schema: {
        summary: 'drills of the library, and the coach’s own ones that are in use; the faults that a drill can be for',
        response: { 200: drillsSchema },
      },
    },
    async (_request, reply) =>
      answered(options, reply, async ({ store }) => ({
        drills: (await allDrills(store)).map(drillDocument),
        faults: faultRules.map(({ name, words }) => ({ name, title: words })),
      })),
  );

  typed.post(
    '/api/drills',
    {
      config: coach,
      bodyLimit,
      schema: {
        summary: 'add a drill of one’s own',
        body: Type.Object({ ...ownDrillBody, by: bySchema }, closed),
        response: { 201: drillSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { by, ...drill } = request.body;
        const drillId = await store.coaching.addDrill(actorOf(request, by), checkedDrill(drill));
        reply.code(201);
        return drillDocument(await drillNamed(store, drillId, true));
      }),
  );

  typed.patch(
    '/api/drills/:drillId',
    {
      config: coach,
      bodyLimit,
      schema: {
        summary: 'change a drill of one’s own, or take it out of use; prescriptions keep it as it was',
        params: Type.Object({ drillId: id }),
        body: Type.Object(
          {
            ...Type.Partial(Type.Object(ownDrillBody)).properties,
            retired: Type.Optional(Type.Boolean()),
            by: bySchema,
          },
          closed,
        ),
        response: { 200: drillSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { by, retired, ...change } = request.body;
        const before = await drillNamed(store, request.params.drillId, true);
        if (drillLibrary.some(({ name }) => name === before.name)) {
          throw new SeamwiseError(
            'store-value',
            'drills of the library stay as they are: expected one of your own, or add one',
          );
        }
        const { name: _name, ...words } = before;
        await store.coaching.changeDrill(actorOf(request, by), before.name, {
          drill: checkedDrill({ ...words, ...change }),
          ...(retired !== undefined && { retired }),
        });
        return drillDocument(await drillNamed(store, before.name, true));
      }),
  );
}

async function allDrills(store: ClubStore): Promise<Drill[]> {
  const own = (await store.coaching.drills()).flatMap(({ drill, retiredS }) => (retiredS === null ? [drill] : []));
  return [...own, ...drillLibrary];
}

/** @throws SeamwiseError `store-missing` */
export async function drillNamed(store: ClubStore, name: string, alsoRetired: boolean): Promise<Drill> {
  const own = (await store.coaching.drills()).find(({ id: drillId }) => drillId === name);
  const found =
    own !== undefined && (alsoRetired || own.retiredS === null)
      ? own.drill
      : drillLibrary.find((drill) => drill.name === name);
  if (found === undefined) {
    throw new SeamwiseError(
      'store-missing',
      `there is no drill ${JSON.stringify(name.slice(0, 60))}: GET /api/drills lists them`,
    );
  }
  return found;
}

/** @throws SeamwiseError `store-value` */
function checkedDrill(drill: Omit<Drill, 'name' | 'source'> & { readonly source?: string }): Omit<Drill, 'name'> {
  const text = (what: string, value: string, least: number) => requireText(what, value, { least, most: 600 });
  requireNumber('change that matters', drill.moves.by, 1e-6, 1e4);
  return {
    title: requireText('title of the drill', drill.title, { least: 1, most: 80 }),
    forFaults: [...new Set(drill.forFaults)],
    purpose: text('purpose of the drill', drill.purpose, 1),
    setUp: text('set-up of the drill', drill.setUp, 0),
    steps: drill.steps.map((step) => text('step of the drill', step, 1)),
    dose: drill.dose,
    progressions: drill.progressions.map((one) => text('progression of the drill', one, 1)),
    fromAge: drill.fromAge,
    cautions: drill.cautions.map((one) => text('caution of the drill', one, 1)),
    moves: drill.moves,
    source: 'the coach’s own',
  };
}
