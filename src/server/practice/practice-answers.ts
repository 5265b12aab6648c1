import type { FastifyReply, FastifyRequest } from 'fastify';
import Type from 'typebox';
import { type ErrorCode, SeamwiseError } from '../../foundation/errors.ts';
import type { Logger } from '../../foundation/logger.ts';
import type { Actor } from '../../sessions/database/store-context.ts';
import type { PracticeKeeper } from './practice-keeper.ts';

/** What the routes of practices and players work with. */
export interface PracticeRouteOptions {
  /** Resolves when the data are open; null when the service could not open them. */
  readonly keeper: () => Promise<PracticeKeeper | null>;
  readonly nowS: () => number;
  readonly logger: Logger;
}

/** Who asked for a change, where one device serves several people. */
export const bySchema = Type.Optional(
  Type.String({ minLength: 1, maxLength: 60, description: 'who makes the change, as that person is called here' }),
);

export const errorSchema = Type.Object({ error: Type.String(), message: Type.String() });

export const closed = { additionalProperties: false } as const;

const statusOf: Partial<Record<ErrorCode, number>> = {
  'store-missing': 404,
  'store-value': 400,
  'statistic-input': 400,
  'store-taken': 409,
  'no-consent': 409,
  'no-session': 409,
  'export-removed': 410,
  'edit-superseded': 409,
  'edit-final': 409,
  'key-refused': 403,
  'upload-refused': 409,
  'upload-too-large': 413,
};

/** @returns who asks, for the log of changes. */
export function actorOf({ asker }: FastifyRequest, by?: string): Actor {
  const role = asker?.role === 'coach' || asker?.role === 'player' ? asker.role : 'host';
  return { role, name: by ?? asker?.device?.name ?? 'page' };
}

/**
 * Answers with what `work` gives. What a person can mend is told as it is; a disk that takes nothing is told as that.
 */
export async function answered<Result>(
  { keeper, logger }: PracticeRouteOptions,
  reply: FastifyReply,
  work: (keeper: PracticeKeeper) => Promise<Result>,
): Promise<Result | FastifyReply> {
  reply.header('cache-control', 'no-store');
  const opened = await keeper();
  if (opened === null) {
    return reply
      .code(503)
      .send({ error: 'not-ready', message: 'the data are not open: the service is starting or stopping' });
  }
  try {
    return await work(opened);
  } catch (error) {
    if (error instanceof SeamwiseError) {
      const status = statusOf[error.code] ?? 500;
      return reply.code(status).send({ error: error.code, message: error.message });
    }
    const why = error instanceof Error ? error.message : String(error);
    if (!/disk|full|readonly|read-only|I\/O|busy|locked/i.test(why)) throw error;
    logger.error({ why }, 'a change could not be stored');
    const message = `nothing was changed: ${why}. Free the disk or mend the data folder, then try again.`;
    return reply.code(503).send({ error: 'not-stored', message });
  }
}
