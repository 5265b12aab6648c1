import { SeamwiseError } from '../../../foundation/errors.ts';

/** What PostgreSQL, its client or the network says of a failure. */
interface Told {
  readonly code?: unknown;
  readonly message?: unknown;
}

const lostCodes = [
  // Node, "Common system errors".
  ...[
    'ECONNREFUSED',
    'ECONNRESET',
    'ENOTFOUND',
    'EAI_AGAIN',
    'ETIMEDOUT',
    'EHOSTUNREACH',
    'ENETUNREACH',
    'EPIPE',
    'ENOENT',
  ],
  // PostgreSQL documentation, appendix A: the server ends, has ended, starts; it has no connection left.
  ...['57P01', '57P02', '57P03', '53300'],
];

const lostTexts =
  /Connection terminated|timeout exceeded when trying to connect|timeout expired|Client has encountered a connection error|Client was closed|not queryable/i;

/** @returns whether the connection is gone or none can be had, so that the same may work in a moment. */
export function isLost(error: unknown): boolean {
  if (error instanceof SeamwiseError) return error.code === 'database-unreachable';
  const { code, message } = error as Told;
  if (typeof code === 'string' && (lostCodes.includes(code) || /^08[0-9A-Z]{3}$/.test(code))) return true;
  return typeof message === 'string' && lostTexts.test(message);
}

/** @returns whether two changes stood in each other's way, and the same will work when it is done anew. */
export function isCollision(error: unknown): boolean {
  // Appendix A: serialization failure, deadlock.
  return ['40001', '40P01'].includes(String((error as Told).code)) || isStalePlan(error);
}

/** @returns whether a newer program has changed a table since the connection planned its query. */
export function isStalePlan(error: unknown): boolean {
  const { code, message } = error as Told;
  return code === '0A000' && typeof message === 'string' && message.includes('cached plan');
}

/**
 * @returns what is wrong and what to do, for failures of the connection, the login, its rights and the server's disk; any other error
 * as it came.
 */
export function inWords(error: unknown, shown: string): unknown {
  if (error instanceof SeamwiseError) return error;
  const code = String((error as Told).code ?? '');
  const why = error instanceof Error ? error.message : String(error);
  const of = `database ${shown}`;
  const refused = (what: string) => new SeamwiseError('database-refused', `${of}: ${what} (${why})`);
  if (code === '53300') {
    return new SeamwiseError(
      'database-unreachable',
      `${of}: the server has no connection left (${why}). Raise its max_connections, or lower connections=… in the addresses of the processes that use it.`,
    );
  }
  if (isLost(error)) {
    return new SeamwiseError(
      'database-unreachable',
      `${of}: expected a PostgreSQL server that answers, got: ${why || code}. Look whether it runs and whether host, port and network are right; what was stored is not lost.`,
    );
  }
  if (code === '28P01')
    return refused('the server does not take this user with this password: put the right one into the address');
  if (code === '28000')
    return refused('the server lets this user not in from here: see its pg_hba.conf, or whether the user exists');
  if (code === '3D000')
    return refused('the server has no database of this name: make it with createdb, or correct the address');
  if (code === '55P03') {
    return new SeamwiseError(
      'database-unreachable',
      `${of}: another change of the club did not end in time (${why}). Try again; where it stays so, look for a process that hangs.`,
    );
  }
  if (/CERT|SELF_SIGNED|LEAF_SIGNATURE|ISSUER/.test(code) || /certificate/i.test(why)) {
    return refused(
      'its certificate cannot be trusted: name the file of its CA by sslrootcert=…, and the host as the certificate has it',
    );
  }
  if (/does not support SSL/i.test(why)) {
    return refused(
      'the server does not encrypt: switch its ssl on, or write sslmode=disable where the network is your own',
    );
  }
  if (code === '42501') {
    return new SeamwiseError(
      'database-right',
      `${of}: the user of this address may not do that (${why}). Use the address of the owner of the database, or have the owner grant the role seamwise_hub.`,
    );
  }
  if (code === '53100') {
    return new SeamwiseError(
      'database-unusable',
      `${of}: the disk of the server is full (${why}). Free some space there.`,
    );
  }
  return error;
}
