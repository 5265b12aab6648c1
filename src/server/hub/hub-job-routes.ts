import { Readable } from 'node:stream';
import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance } from 'fastify';
import Type from 'typebox';
import type { Job } from '../../sessions/hub/job-records.ts';
import { actorOf, answered, bySchema, closed, type PracticeRouteOptions } from '../practice/practice-answers.ts';
import { exportFilterOf } from '../research/job-routes.ts';
import { hubJobSchema, hubJobsSchema } from '../wire/hub-job-document.ts';
import { exportContents } from '../wire/research-document.ts';
import { askForReanalysis } from './work/ask-for-work.ts';
import type { ExportJobWords } from './work/export-work.ts';

const coach = { access: 'coach' } as const;
const jobParams = Type.Object({ jobId: Type.String({ minLength: 1, maxLength: 60 }) });

/** Adds what is asked of the workers of a hub, and how far they are. */
export function addHubJobRoutes(server: FastifyInstance, options: PracticeRouteOptions): void {
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();

  typed.get(
    '/api/hub/jobs',
    {
      config: coach,
      schema: {
        summary: 'work of the hub and how far it is: what runs, was put aside, waits and has ended',
        querystring: Type.Object({ limit: Type.Integer({ minimum: 1, maximum: 500, default: 50 }) }, closed),
        response: { 200: hubJobsSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => ({
        counts: await store.jobs.counts(),
        jobs: (await store.jobs.list(request.query.limit)).map(jobDocument),
      })),
  );

  typed.post(
    '/api/hub/reanalyses',
    {
      config: coach,
      schema: {
        summary:
          'have the recordings that courts handed over gone through again by the workers, with their version of the analysis',
        body: Type.Object(
          {
            sessionId: Type.Optional(Type.String({ minLength: 1, maxLength: 60 })),
            again: Type.Optional(Type.Boolean({ description: 'those too that this version has gone through already' })),
            by: bySchema,
          },
          closed,
        ),
        response: { 202: Type.Object({ asked: Type.Integer() }) },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { sessionId, again = false, by } = request.body;
        const wish = sessionId === undefined ? { again } : { again: true, sessionId };
        reply.code(202);
        return { asked: (await askForReanalysis(store, actorOf(request, by), wish)).length };
      }),
  );

  typed.post(
    '/api/hub/exports',
    {
      config: coach,
      bodyLimit: 128 * 1024,
      schema: {
        summary: 'have the workers write an export for a researcher, to be downloaded when it is done',
        body: Type.Object(
          {
            ...exportContents,
            by: bySchema,
          },
          closed,
        ),
        response: { 202: hubJobSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { filter, samples = false, bids = false, raw = false, shift = 'one', by } = request.body;
        const withUnnamed = filter.withUnnamed === true;
        const words: ExportJobWords = { samples, bids, raw, shift, withUnnamed, filter: exportFilterOf(filter) };
        const id = await store.jobs.ask(actorOf(request, by), { kind: 'export', subject: '', words });
        reply.code(202);
        return jobDocument(await store.jobs.get(id));
      }),
  );

  typed.delete(
    '/api/hub/jobs/:jobId',
    {
      config: coach,
      schema: {
        summary: 'stop a piece of work, or let go of one that was put aside; nothing of it is kept',
        params: jobParams,
        response: { 200: hubJobSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => jobDocument(await store.jobs.stop(request.params.jobId))),
  );

  typed.post(
    '/api/hub/jobs/:jobId/try-again',
    {
      config: coach,
      schema: {
        summary: 'have a piece that was put aside or stopped tried again',
        params: jobParams,
        response: { 200: hubJobSchema },
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => jobDocument(await store.jobs.tryAgain(request.params.jobId))),
  );

  typed.get(
    '/api/hub/jobs/:jobId/download',
    {
      config: coach,
      schema: {
        summary: 'a finished export as one ZIP archive; 410 once somebody in it withdrew or was deleted',
        params: jobParams,
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const content = await store.exportFiles.read(request.params.jobId);
        return reply
          .type('application/zip')
          .header('content-disposition', 'attachment; filename="seamwise-export.zip"')
          .send(Readable.from(content));
      }),
  );
}

function jobDocument(job: Job) {
  return {
    ...{ id: job.id, kind: job.kind, state: job.state, share: job.share, byName: job.by_name, askedS: job.asked_s },
    ...{ endedS: job.ended_s, tries: job.tries, worker: job.worker, reason: job.reason, counts: { ...job.counts } },
    sessionId: job.kind === 'reanalysis' ? job.subject : null,
    session: job.session,
  };
}
