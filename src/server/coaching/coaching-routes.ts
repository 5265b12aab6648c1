import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance, FastifyRequest } from 'fastify';
import Type from 'typebox';
import { type Drill, drillLibrary } from '../../coaching/drills.ts';
import { faultNames } from '../../coaching/fault-names.ts';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Player } from '../../sessions/database/player-records.ts';
import { requireNumber, requireText } from '../../sessions/database/store-context.ts';
import { shotMeasureNames } from '../../shots/shot.ts';
import { seededSource } from '../../study/seeded-source.ts';
import { actorOf, answered, bySchema, closed, type PracticeRouteOptions } from '../practice/practice-answers.ts';
import { sessionOf } from '../practice/session-routes.ts';
import {
  drillSchema,
  loadSchema,
  playerCoachingSchema,
  prescriptionSchema,
  sessionStudySchema,
  targetsSchema,
} from '../wire/coaching-document.ts';
import { bandDocuments, drillDocument, playerCoachingDocument } from './coaching-documents.ts';
import { loadDocument } from './load-document.ts';
import { ownTimeZone } from './local-day.ts';
import { bandsOf, isBanded } from './player-watch.ts';
import { prescriptionDocument } from './proof-documents.ts';
import { sessionStudyDocument } from './session-study-document.ts';

const coach = { access: 'coach' } as const;
const playerAccess = { access: 'player' } as const;
const id = Type.String({ maxLength: 60 });
const playerParams = Type.Object({ playerId: id });
const prescriptionParams = Type.Object({ prescriptionId: id });
const word = (most: number, least = 0) => Type.String({ minLength: least, maxLength: most });
const words = (most: number) => Type.Array(word(600, 1), { maxItems: most });
const orNull = <Schema extends Type.TSchema>(schema: Schema) => Type.Union([schema, Type.Null()]);

const ownDrillBody = {
  title: word(80, 1),
  forFaults: Type.Array(Type.Enum([...faultNames]), { minItems: 1, maxItems: faultNames.length }),
  purpose: word(600, 1),
  setUp: word(600),
  steps: words(12),
  dose: Type.Object(
    {
      sets: Type.Integer({ minimum: 1, maximum: 20 }),
      shotsASet: Type.Integer({ minimum: 1, maximum: 100 }),
      daysAWeek: Type.Integer({ minimum: 1, maximum: 7 }),
    },
    closed,
  ),
  progressions: words(12),
  fromAge: Type.Number({ minimum: 0, maximum: 120 }),
  cautions: words(12),
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

/** Adds the routes of coaching: what is seen of a player, targets, drills, prescriptions and their proof, load, a practice as a whole. */
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
          asked === undefined ? await newestSession(store, player.id) : sessionOf(asked, keeper.sessionId);
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
            seenBy: Type.Enum(['ball', 'arm'], { default: 'ball', description: 'whose best shots make own bands' }),
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
        return targetsDocument(store, playerId, 'ball');
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
        return targetsDocument(store, request.params.playerId, 'ball');
      }),
  );

  typed.get(
    '/api/drills',
    {
      config: playerAccess,
      schema: {
        summary: 'drills of the library, and the coach’s own ones that are in use',
        response: { 200: Type.Object({ drills: Type.Array(drillSchema) }) },
      },
    },
    async (_request, reply) =>
      answered(options, reply, async ({ store }) => ({ drills: (await allDrills(store)).map(drillDocument) })),
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

/** Who asks, as far as a verdict goes by it. */
function askerOf({ asker }: FastifyRequest): 'coach' | 'player' {
  return asker?.role === 'player' ? 'player' : 'coach';
}

/**
 * @returns a player whom the one who asks may see: a coach all of them, a player's device those who agreed to being shown, since it is
 * not known here whose it is.
 * @throws SeamwiseError `store-missing` or `no-consent`.
 */
async function visiblePlayer(store: ClubStore, request: FastifyRequest, playerId: string): Promise<Player> {
  const player = await store.players.get(playerId);
  if (askerOf(request) === 'player') await store.players.requireConsent(playerId, 'display');
  return player;
}

/** @returns the session of the player's newest shot. */
async function newestSession(store: ClubStore, playerId: string): Promise<string | null> {
  return store.shots.newestSessionOf(playerId);
}

async function targetsDocument(store: ClubStore, playerId: string, seer: 'ball' | 'arm') {
  return {
    playerId,
    bands: bandDocuments(await bandsOf(store, playerId, seer)),
    bestSetIds: await store.coaching.bestSets(playerId),
  };
}

async function allDrills(store: ClubStore): Promise<Drill[]> {
  const own = (await store.coaching.drills()).flatMap(({ drill, retiredS }) => (retiredS === null ? [drill] : []));
  return [...own, ...drillLibrary];
}

/** @throws SeamwiseError `store-missing` */
async function drillNamed(store: ClubStore, name: string, alsoRetired: boolean): Promise<Drill> {
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

async function documentOf(store: ClubStore, prescriptionId: string) {
  const prescription = await store.prescriptions.get(prescriptionId);
  return prescriptionDocument(store, prescription, await store.players.get(prescription.player_id), 'coach');
}
