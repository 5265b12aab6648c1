import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance, FastifyReply } from 'fastify';
import Type from 'typebox';
import { playerReport } from '../../reports/player-report.ts';
import { audiences } from '../../reports/report-input.ts';
import { sessionReport } from '../../reports/session-report.ts';
import { studyReport } from '../../reports/study-report.ts';
import { answered, closed, type PracticeRouteOptions } from '../practice/practice-answers.ts';
import { sessionOf } from '../practice/session-routes.ts';
import { playerReportData, sessionReportData } from './report-data.ts';
import { studyReportData } from './study-report-data.ts';

const coach = { access: 'coach' } as const;

/** A report holds its own style and nothing else: no script may run in it, and it may ask for nothing. */
const reportPolicy =
  "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

const forWhom = {
  for: Type.Enum([...audiences], { default: 'coach', description: 'who reads it' }),
  save: Type.Boolean({ default: false, description: 'as a file to be kept, not as a page to be shown' }),
};

/** Adds the reports, each one HTML document that holds everything itself. */
export function addReportRoutes(server: FastifyInstance, options: PracticeRouteOptions, programVersion: string): void {
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();

  typed.get(
    '/api/sessions/:sessionId/report',
    {
      config: coach,
      schema: {
        summary: 'a practice as one printable HTML document',
        params: Type.Object({
          sessionId: Type.String({ maxLength: 60, description: 'id of a session, or "current"' }),
        }),
        querystring: Type.Object(
          {
            ...forWhom,
            playerId: Type.Optional(Type.String({ maxLength: 60, description: 'shots of this player alone' })),
          },
          closed,
        ),
      },
    },
    async (request, reply) =>
      answered(options, reply, async (keeper) => {
        const id = sessionOf(request.params.sessionId, keeper.sessionId);
        const { for: audience, playerId = null, save } = request.query;
        const data = await sessionReportData(keeper.store, id, playerId, {
          audience,
          programVersion,
          madeS: options.nowS(),
          timeZone: ownTimeZone(),
        });
        return document(reply, sessionReport(data), save ? `practice-${id}-${audience}` : null);
      }),
  );

  typed.get(
    '/api/players/:playerId/report',
    {
      config: coach,
      schema: {
        summary: 'a player over time as one printable HTML document',
        params: Type.Object({ playerId: Type.String({ maxLength: 60 }) }),
        querystring: Type.Object(forWhom, closed),
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { for: audience, save } = request.query;
        const data = await playerReportData(store, request.params.playerId, {
          audience,
          programVersion,
          madeS: options.nowS(),
          timeZone: ownTimeZone(),
        });
        return document(reply, playerReport(data), save ? `player-${data.player.pseudonym}-${audience}` : null);
      }),
  );

  typed.get(
    '/api/studies/:studyId/report',
    {
      config: coach,
      schema: {
        summary: 'a study as one printable HTML document: sentences, drawings, what it cannot answer, methods',
        params: Type.Object({ studyId: Type.String({ maxLength: 60 }) }),
        querystring: Type.Object(forWhom, closed),
      },
    },
    async (request, reply) =>
      answered(options, reply, async ({ store }) => {
        const { for: audience, save } = request.query;
        const data = await studyReportData(store, request.params.studyId, {
          audience,
          programVersion,
          madeS: options.nowS(),
          timeZone: ownTimeZone(),
        });
        return document(reply, studyReport(data), save ? `study-${data.name}-${audience}` : null);
      }),
  );
}

function document(reply: FastifyReply, html: string, fileName: string | null) {
  reply.header('content-security-policy', reportPolicy).type('text/html; charset=utf-8');
  if (fileName !== null) {
    const plain = fileName.replace(/[^A-Za-z0-9_-]+/g, '-').slice(0, 80);
    reply.header('content-disposition', `attachment; filename="${plain}.html"`);
  }
  return reply.send(html);
}

function ownTimeZone(): string {
  return new Intl.DateTimeFormat().resolvedOptions().timeZone;
}
