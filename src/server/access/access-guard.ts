import type { IncomingMessage } from 'node:http';
import type { FastifyInstance, FastifyRequest } from 'fastify';
import type { Logger } from '../../foundation/logger.ts';
import type { PairedDevice, PairedDevices } from './paired-devices.ts';
import { refusalOf } from './request-origin.ts';
import { mayUse, type Role, type RouteAccess } from './roles.ts';

declare module 'fastify' {
  interface FastifyContextConfig {
    /** Who may use the route; without it only the host may. */
    readonly access?: RouteAccess;
  }
  interface FastifyRequest {
    /** Who asks; null where it is nobody known. */
    asker: Asker | null;
    /** Whose key the request shows; null where it shows none that is known. Only looked up for routes of courts. */
    court: KnownCourt | null;
  }
}

/** A court that hands over to this hub. */
export interface KnownCourt {
  readonly id: string;
  readonly name: string;
}

/** Whoever sits at this machine, or a device that was let in. */
export interface Asker {
  readonly role: Role;
  readonly device: PairedDevice | null;
}

export const deviceCookie = 'seamwise_device';

export interface AccessGuardOptions {
  /** Null where the service listens on loopback alone. */
  readonly devices: PairedDevices | null;
  readonly scheme: 'http' | 'https';
  /** Names of this machine besides the loopback ones; asked anew, since a laptop changes its network. */
  readonly ownNames: () => readonly string[];
  /** Port that a request without a socket is taken to come in on; only tests have such. */
  readonly port: number;
  readonly logger: Logger;
  /** Finds the court of a key; absent where no court hands over to this service. */
  readonly courtOf?: (key: string) => Promise<KnownCourt | null>;
}

/**
 * Adds the checks that every request has to pass: that it means this service and comes from its own page, and that
 * whoever asks may use the route. The page's own files are open to everyone who reaches the service: they hold no data,
 * and a device needs them to be paired.
 */
export function addAccessGuard(server: FastifyInstance, options: AccessGuardOptions): void {
  const { devices, logger, scheme } = options;
  server.decorateRequest('asker', null);
  server.decorateRequest('court', null);
  server.addHook('onRequest', async (request, reply) => {
    // By the route that will answer, never by the address as it came: "%61pi" is read as "api" on the way to it.
    const isApi = request.routeOptions.url?.startsWith('/api/') ?? request.url.startsWith('/api/');
    const reason = refusalOf({
      ...originFacts(request, isApi),
      ownNames: options.ownNames(),
      scheme,
      port: portOf(request, options.port),
    });
    if (reason !== null) {
      logger.warn({ url: request.url.slice(0, 200), reason }, 'a request was refused');
      return reply.code(403).send({ error: 'forbidden', message: reason });
    }
    request.asker = askerOf(request, devices);
  });
  // After the count of requests, so that guesses are slowed down too, and before a body is read.
  server.addHook('preParsing', async (request, reply) => {
    if (request.is404 || !request.routeOptions.url?.startsWith('/api/')) return;
    const needed = request.routeOptions.config.access ?? 'host';
    if (needed === 'court') {
      const key = /^Bearer (\S{1,200})$/.exec(request.headers.authorization ?? '')?.[1];
      request.court = key === undefined ? null : ((await options.courtOf?.(key)) ?? null);
      if (request.court !== null) return;
      const message =
        'this is for courts alone: expected the key that the hub gave the court, as "Authorization: Bearer …"; it may have been taken back';
      return reply.code(401).send({ error: 'no-court', message });
    }
    const role = request.asker?.role ?? null;
    if (mayUse(role, needed)) return;
    if (role === null) {
      const message = 'this device is not paired, or was removed: pair it with a code from the machine of the service';
      return reply.code(401).send({ error: 'not-paired', message });
    }
    const who = needed === 'host' ? 'whoever sits at the machine of the service' : `a ${needed}`;
    const message = `only ${who} may do this; this device is paired as ${role}`;
    return reply.code(403).send({ error: 'role', message });
  });
}

/** @returns true where the request comes from this very machine. */
export function isLocal(raw: IncomingMessage): boolean {
  const address = raw.socket?.remoteAddress;
  return address !== undefined && /^(127\.\d+\.\d+\.\d+|::1|::ffff:127\.\d+\.\d+\.\d+)$/.test(address);
}

function askerOf(request: FastifyRequest, devices: PairedDevices | null): Asker | null {
  if (isLocal(request.raw)) return { role: 'host', device: null };
  const token = request.cookies?.[deviceCookie];
  const device = token === undefined ? null : (devices?.find(token) ?? null);
  return device === null ? null : { role: device.role, device };
}

function originFacts(request: FastifyRequest, isApi: boolean) {
  const { headers, raw } = request;
  return {
    hosts: headersNamed(raw.rawHeaders ?? [], 'host', headers.host),
    origin: headers.origin,
    fetchSite: textOf(headers['sec-fetch-site']),
    isApi,
  };
}

function portOf({ raw }: FastifyRequest, fallback: number): number {
  return raw.socket?.localPort ?? fallback;
}

function headersNamed(rawHeaders: readonly string[], name: string, fallback: string | undefined): string[] {
  const values = rawHeaders.filter((_, index) => index % 2 === 1 && rawHeaders[index - 1]?.toLowerCase() === name);
  return values.length > 0 || fallback === undefined ? values : [fallback];
}

function textOf(header: string | string[] | undefined): string | undefined {
  return Array.isArray(header) ? header.join(',') : header;
}
