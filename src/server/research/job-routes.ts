import { createReadStream } from 'node:fs';
import { Readable } from 'node:stream';
import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance } from 'fastify';
import Type from 'typebox';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { AnalysisRun } from '../../sessions/database/analysis-run-records.ts';
import type { ShotFilter } from '../../sessions/database/shot-records.ts';
import { previewExport } from '../../sessions/exchange/export/preview-export.ts';
import { instantInZone, requireTimeZone } from '../../sessions/exchange/zoned-time.ts';
import { recordingBytes } from '../practice/keep-recordings.ts';
import { actorOf, answered, bySchema, closed, type PracticeRouteOptions } from '../practice/practice-answers.ts';
import { sessionOf } from '../practice/session-routes.ts';
import {
  analysisRunSchema,
  exportContents,
  exportFilterSchema,
  exportPreviewSchema,
  jobSchema,
  type WireExportFilter,
  type WireJob,
} from '../wire/research-document.ts';
import { asValue, localZone } from './asked-words.ts';
import type { ResearchDesk } from './research-desk.ts';
import { zipFolder } from './zip-stream.ts';

const coach = { access: 'coach' } as const;
const jobParams = Type.Object({ jobId: Type.String({ maxLength: 60 }) });
const sessionParams = Type.Object({ sessionId: Type.String({ maxLength: 60 }) });

/** Adds the routes of work that takes its time: analysis again, exports, and how far each piece is. */
export function addJobRoutes(server: FastifyInstance, options: PracticeRouteOptions, desk: () => ResearchDesk): void {
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();

  typed.get(
    '/api/jobs',
    {
      config: coach,
      schema: {
        summary: 'analyses, imports and exports of this run of the service, newest first',
        response: { 200: Type.Object({ jobs: Type.Array(jobSchema) }) },
      },
    },
    async (_request, reply) => answered(options, reply, async () => ({ jobs: desk().jobs.list().map(copied) })),
  );

  typed.get(
    '/api/jobs/:jobId',
    {
      config: coach,
      schema: { summary: 'how far a piece of work is', params: jobParams, response: { 200: jobSchema } },
    },
    async (request, reply) => answered(options, reply, async () => copied(desk().jobs.get(request.params.jobId))),
  );

  typed.delete(
    '/api/jobs/:jobId',
    {
      config: coach,
      schema: {
        summary: 'stop a piece of work; nothing of it is kept',
        params: jobParams,
        response: { 200: jobSchema },
      },
    },
    async (request, reply) => answered(options, reply, async () => copied(desk().jobs.stop(request.params.jobId))),
  );

  typed.get(
    '/api/sessions/:sessionId/analyses',
    {
      config: coach,
      schema: {
        summary: 'when and for whom the recording was gone through again, newest first',
        params: sessionParams,
        response: { 200: Type.Object({ runs: Type.Array(analysisRunSchema) }) },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store, sessionId }) => {
        const { id } = await store.sessions.get(sessionOf(request.params.sessionId, sessionId));
        return { runs: (await store.runs.list(id)).map(runDocument) };
      }),
  );

  typed.get(
    '/api/shots/:shotId/results',
    {
      config: coach,
      schema: {
        summary: 'what each analysis said of a shot, oldest first',
        params: Type.Object({ shotId: Type.String({ maxLength: 120 }) }),
        response: {
          200: Type.Object({
            results: Type.Array(
              Type.Object({
                analysisVersion: Type.String(),
                createdS: Type.Number(),
                isCurrent: Type.Boolean(),
                shot: Type.Unsafe<object>({ type: 'object', additionalProperties: true }),
              }),
            ),
          }),
        },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const [id = ''] = await store.shots.idsOf([request.params.shotId]);
        const results = await store.shots.results(id);
        return { results: results.map(({ parameters: _, ...result }) => result) };
      }),
  );

  typed.post(
    '/api/sessions/:sessionId/analyses',
    {
      config: coach,
      schema: {
        summary: 'go through the recording of a session again; the old numbers stay beside the new ones',
        params: sessionParams,
        body: Type.Object({ by: bySchema }, closed),
        response: { 202: jobSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store, sessionId }) => {
        const session = await store.sessions.get(sessionOf(request.params.sessionId, sessionId));
        if (session.id === sessionId) {
          throw new SeamwiseError(
            'store-taken',
            'this practice still runs: its recording can be gone through when it is over',
          );
        }
        reply.code(202);
        return copied(desk().reanalyse(store, session, actorOf(request, request.body.by)));
      }),
  );

  typed.post(
    '/api/exports/preview',
    {
      config: coach,
      bodyLimit: 128 * 1024,
      schema: {
        summary: 'what an export would hold, and what stays here and why',
        body: exportFilterSchema,
        response: { 200: exportPreviewSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store, recordingsFolder }) => {
        const preview = await previewExport(store, exportFilterOf(request.body), request.body.withUnnamed === true);
        const names = new Map((await store.players.list()).map(({ id, pseudonym }) => [id, pseudonym]));
        const sizes = preview.sessions.map(({ recording }) => recording && recordingBytes(recordingsFolder, recording));
        return {
          shots: preview.shotCount,
          sessions: preview.sessions.length,
          players: preview.playerIds.length,
          unnamed: preview.unnamedCount,
          withheld: [...preview.withheld].map(([playerId, shots]) => {
            return { playerId, pseudonym: names.get(playerId) ?? '', shots };
          }),
          withoutRecording: preview.sessions
            .filter((_, at) => typeof sizes[at] !== 'number')
            .map(({ id, name, started_s }) => ({ sessionId: id, name, startedS: started_s })),
          recordingBytes: sizes.reduce<number>((sum, size) => sum + (typeof size === 'number' ? size : 0), 0),
        };
      }),
  );

  typed.post(
    '/api/exports',
    {
      config: coach,
      bodyLimit: 128 * 1024,
      schema: {
        summary: 'write an export for a researcher, to be downloaded when it is done',
        body: Type.Object(
          {
            ...exportContents,
            withKey: Type.Optional(
              Type.Boolean({ description: 'write, apart, what leads back to the players; the host alone' }),
            ),
            by: bySchema,
          },
          closed,
        ),
        response: { 202: jobSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async () => {
        const { filter, samples = false, bids = false, raw = false, shift = 'one', withKey = false, by } = request.body;
        if (withKey && request.asker?.role !== 'host') {
          throw new SeamwiseError('key-refused', 'the key to an export is given on the machine of the service alone');
        }
        const withUnnamed = filter.withUnnamed === true;
        const words = { samples, bids, raw, shift, withKey, withUnnamed, filter: exportFilterOf(filter) };
        reply.code(202);
        return copied(desk().export(words, actorOf(request, by)));
      }),
  );

  typed.get(
    '/api/exports/:jobId/download',
    {
      config: coach,
      schema: { summary: 'a finished export as one ZIP archive', params: jobParams },
    },
    async (request, reply) =>
      answered(options, reply, async () => {
        const { id } = doneExport(desk().jobs.get(request.params.jobId));
        const stream = Readable.from(zipFolder(desk().exportFolder(id)));
        return reply
          .type('application/zip')
          .header('content-disposition', 'attachment; filename="seamwise-export.zip"')
          .send(stream);
      }),
  );

  typed.get(
    '/api/exports/:jobId/key',
    {
      config: { access: 'host' },
      schema: {
        summary: 'what leads from an export back to the players; keep it apart from the data',
        params: jobParams,
      },
    },
    async (request, reply) =>
      answered(options, reply, async () => {
        const { id, counts } = doneExport(desk().jobs.get(request.params.jobId));
        if (counts.hasKey !== 1) throw new SeamwiseError('store-missing', 'no key was asked for with this export');
        return reply
          .type('application/json')
          .header('content-disposition', 'attachment; filename="seamwise-export-key.json"')
          .send(createReadStream(desk().keyFile(id)));
      }),
  );
}

function doneExport(job: WireJob): WireJob {
  if (job.kind === 'export' && job.state === 'done') return job;
  throw new SeamwiseError('store-missing', 'there is no finished export with this id');
}

/** @throws SeamwiseError `store-value`. */
export function exportFilterOf({
  playerIds,
  sessionIds,
  fromDay,
  untilDay,
  timeZone,
  condition,
}: WireExportFilter): Omit<ShotFilter, 'after' | 'limit'> {
  const zone = timeZone === undefined ? localZone() : asValue(() => requireTimeZone(timeZone));
  const day = (text: string | undefined): number | null => {
    if (text === undefined) return null;
    if (!/^\d{4}-\d{2}-\d{2}$/.test(text)) {
      throw new SeamwiseError('store-value', `"${text}" is no day: expected year-month-day, such as 2026-03-01`);
    }
    return asValue(() => instantInZone(text, zone));
  };
  const [fromS, untilS] = [day(fromDay), day(untilDay)];
  if (fromS !== null && untilS !== null && !(fromS < untilS)) {
    throw new SeamwiseError('store-value', `until ${untilDay}: expected a day after the first one, ${fromDay}`);
  }
  return {
    ...(playerIds !== undefined && { playerIds }),
    ...(sessionIds !== undefined && { sessionIds }),
    ...(fromS !== null && { fromS }),
    ...(untilS !== null && { untilS }),
    ...(condition && { factor: condition }),
  };
}

function copied(job: WireJob) {
  return { ...job, messages: [...job.messages], counts: { ...job.counts } };
}

function runDocument(run: AnalysisRun) {
  return {
    ...{
      id: run.id,
      analysisVersion: run.analysis_version,
      madeS: run.made_s,
      byRole: run.by_role,
      byName: run.by_name,
    },
    ...{ again: run.again, changed: run.changed, added: run.added, absorbed: run.absorbed, notFound: run.not_found },
  };
}
