import { randomBytes } from 'node:crypto';
import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance } from 'fastify';
import Type from 'typebox';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import { playerOfRow, type Study } from '../../sessions/database/study-records.ts';
import { shotMeasureNames } from '../../shots/shot.ts';
import { drawStudyOrder } from '../../study/study-plan.ts';
import { actorOf, answered, bySchema, closed, type PracticeRouteOptions } from '../practice/practice-answers.ts';
import { sessionOf } from '../practice/session-routes.ts';
import { studyResultSchema, studySchema } from '../wire/coaching-document.ts';
import type { StudyAnswer } from './answer-types.ts';
import { studyResultDocument } from './study-document.ts';

const coach = { access: 'coach' } as const;
const id = Type.String({ maxLength: 60 });
const studyParams = Type.Object({ studyId: id });
const studyList = Type.Object({ studies: Type.Array(studySchema) });

/** Adds the routes of studies: planned and drawn here, shot as sets, answered in sentences. */
export function addStudyRoutes(server: FastifyInstance, options: PracticeRouteOptions): void {
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();

  typed.get(
    '/api/studies',
    { config: coach, schema: { summary: 'studies, newest first', response: { 200: studyList } } },
    async (_request, reply) =>
      answered(options, reply, async ({ store }) => {
        const studies = await store.studies.list();
        return { studies: await Promise.all(studies.map((study) => studyDocument(store, study))) };
      }),
  );

  typed.post(
    '/api/studies',
    {
      config: coach,
      schema: {
        summary:
          'plan a study: the order of its conditions is drawn here, balanced over the day, and labels where it is blinded',
        body: Type.Object(
          {
            name: Type.String({ minLength: 1, maxLength: 120 }),
            factor: Type.String({ minLength: 1, maxLength: 60 }),
            levels: Type.Array(Type.String({ minLength: 1, maxLength: 60 }), { minItems: 2, maxItems: 12 }),
            playerIds: Type.Array(id, { minItems: 1, maxItems: 60 }),
            daysEach: Type.Integer({ minimum: 1, maximum: 100 }),
            shotsASet: Type.Optional(Type.Integer({ minimum: 1, maximum: 1000 })),
            blinded: Type.Optional(Type.Boolean()),
            seed: Type.Optional(
              Type.String({ minLength: 1, maxLength: 60, description: 'drawn where it is left out' }),
            ),
            measures: Type.Optional(Type.Array(Type.Enum([...shotMeasureNames]), { maxItems: 25 })),
            margins: Type.Optional(
              Type.Record(Type.String({ maxLength: 60 }), Type.Number({ exclusiveMinimum: 0 }), {
                description: 'by quantity, "makes" as a share: up to this two conditions count as the same',
              }),
            ),
            by: bySchema,
          },
          closed,
        ),
        response: { 201: studySchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { by, name, factor, levels, playerIds, daysEach, blinded = false } = request.body;
        const { shotsASet = 25, measures = [], margins = {} } = request.body;
        const seed = request.body.seed ?? randomBytes(8).toString('hex');
        const unknown = Object.keys(margins).find(
          (quantity) => quantity !== 'makes' && !(shotMeasureNames as readonly string[]).includes(quantity),
        );
        if (unknown !== undefined) {
          throw new SeamwiseError('store-value', `margin of ${JSON.stringify(unknown)}: expected "makes" or a measure`);
        }
        if (new Set(playerIds).size < playerIds.length) {
          throw new SeamwiseError('store-value', 'players of the study: expected each once');
        }
        const { order, labels } = drawStudyOrder(levels, playerIds.length * daysEach, seed, blinded);
        const design = { levels, labels, playerIds, shotsASet, order, margins, measures };
        const studyId = await store.studies.add(actorOf(request, by), { name, factor, blinded, seed }, design);
        reply.code(201);
        return studyDocument(store, await store.studies.get(studyId));
      }),
  );

  typed.get(
    '/api/studies/:studyId',
    {
      config: coach,
      schema: { summary: 'a study with its sets', params: studyParams, response: { 200: studySchema } },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) =>
        studyDocument(store, await store.studies.get(request.params.studyId)),
      ),
  );

  typed.post(
    '/api/studies/:studyId/sets',
    {
      config: coach,
      schema: {
        summary: 'start the next set of a day of the plan; the plan says its condition',
        params: studyParams,
        body: Type.Object(
          {
            row: Type.Integer({ minimum: 0, maximum: 10_000, description: 'day of the plan, from 0' }),
            sessionId: Type.Optional(id),
            spot: Type.Optional(Type.String({ maxLength: 60 })),
            distanceM: Type.Optional(Type.Union([Type.Number(), Type.Null()])),
            by: bySchema,
          },
          closed,
        ),
        response: { 201: studySchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async (keeper) => {
        const { store } = keeper;
        const { by, row, sessionId = 'current', spot = '', distanceM = null } = request.body;
        if (sessionId === 'current' && keeper.sessionId === null) {
          throw new SeamwiseError(
            'no-session',
            'no practice runs: a set is shot in one, which begins when a sensor sends',
          );
        }
        const { id: session } = await store.sessions.get(sessionOf(sessionId, keeper.sessionId));
        const { studyId } = request.params;
        await store.studies.startSet(actorOf(request, by), studyId, session, { row, spot, distanceM });
        reply.code(201);
        return studyDocument(store, await store.studies.get(studyId));
      }),
  );

  typed.post(
    '/api/studies/:studyId/close',
    {
      config: coach,
      schema: {
        summary: 'close a study; its labels are opened with it',
        params: studyParams,
        body: Type.Object({ by: bySchema }, closed),
        response: { 200: studySchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { studyId } = request.params;
        await store.studies.close(actorOf(request, request.body.by), studyId);
        return studyDocument(store, await store.studies.get(studyId));
      }),
  );

  typed.get(
    '/api/studies/:studyId/result',
    {
      config: coach,
      schema: {
        summary: 'what a study says so far: sentences, tables, methods, and what it cannot answer',
        params: studyParams,
        response: { 200: studyResultSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) =>
        studyResultDocument(store, await store.studies.get(request.params.studyId)),
      ),
  );
}

/** A study as it is shown: while it is blinded nobody learns here which label is which. */
async function studyDocument(store: ClubStore, study: Study): Promise<StudyAnswer> {
  const { design } = study;
  const covered = study.blinded === 1 && study.closed_s === null;
  const sets = await store.studies.sets(study.id);
  return {
    id: study.id,
    name: study.name,
    factor: study.factor,
    conditions: covered ? [...design.labels] : [...design.levels],
    blinded: study.blinded === 1,
    levels: covered ? null : [...design.levels],
    shotsASet: design.shotsASet,
    rows: design.order.length,
    margins: { ...design.margins },
    measures: [...design.measures],
    playerIds: [...design.playerIds],
    seed: study.seed,
    order: design.order.map((row) => [...row]),
    madeS: study.made_s,
    closedS: study.closed_s,
    sets: sets.map(({ id: rowId, set_id, row_index, place }) => ({
      ...{ id: rowId, setId: set_id, row: row_index, place },
      playerId: playerOfRow(row_index, design.order.length, design.playerIds),
    })),
  };
}
