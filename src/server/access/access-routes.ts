import type { TypeBoxTypeProvider } from '@fastify/type-provider-typebox';
import type { FastifyInstance, FastifyReply } from 'fastify';
import Type from 'typebox';
import { renderSVG } from 'uqr';
import { SeamwiseError } from '../../foundation/errors.ts';
import { deviceCookie } from './access-guard.ts';
import type { DeviceSockets } from './device-sockets.ts';
import type { PairedDevices } from './paired-devices.ts';
import type { PairingDesk } from './pairing-desk.ts';
import { type PairedRole, pairedRoles } from './roles.ts';

/** How long a browser keeps the token, seconds: a season. */
const cookieLifeS = 180 * 24 * 3600;

const closed = { additionalProperties: false };
const openBody = Type.Object({ role: Type.Enum([...pairedRoles]) }, closed);
const codeBody = Type.Object(
  {
    code: Type.String({ pattern: '^[0-9]{6}$', description: 'the six digits that the host reads out' }),
    deviceName: Type.String({ minLength: 1, maxLength: 60 }),
  },
  closed,
);
const ticketBody = Type.Object({ ticket: Type.String({ minLength: 1, maxLength: 100 }) }, closed);
const confirmBody = Type.Object({ agrees: Type.Boolean() }, closed);
const deviceParams = Type.Object({ deviceId: Type.String({ pattern: '^[0-9a-f]{16}$' }) });

export interface AccessRouteOptions {
  readonly desk: PairingDesk;
  readonly devices: PairedDevices;
  readonly sockets: DeviceSockets;
  /** @returns the address under which other devices reach the page, or null without a network. */
  readonly pageUrl: () => string | null;
  readonly secure: boolean;
}

const asking = { config: { access: 'anyone' as const, rateLimit: { max: 240, timeWindow: 60_000 } } };

/** Adds everything else under `/api/access`: what lets devices of the same network in and out. */
export function addAccessRoutes(server: FastifyInstance, options: AccessRouteOptions): void {
  const { desk, devices, sockets, pageUrl } = options;
  const typed = server.withTypeProvider<TypeBoxTypeProvider>();
  const host = { config: { access: 'host' as const } };
  // Guessing is slowed down besides being counted by the desk.
  const anyone = { config: { access: 'anyone' as const, rateLimit: { max: 20, timeWindow: 60_000 } } };

  typed.get('/api/access/pairing', host, async (_request, reply) => {
    reply.header('cache-control', 'no-store');
    return { ...desk.state, url: pageUrl() };
  });
  typed.get('/api/access/pairing/code.svg', host, async (_request, reply) => {
    const state = desk.state;
    const url = pageUrl();
    if (state.state !== 'open' || url === null) {
      return reply.code(404).send({ error: 'no-pairing', message: 'no pairing is open, or there is no network' });
    }
    // The code stands behind "#", which browsers send to nobody.
    const picture = renderSVG(`${url}#pair=${state.code}`, { border: 2 });
    return reply.header('cache-control', 'no-store').type('image/svg+xml').send(picture);
  });
  typed.post('/api/access/pairing', { ...host, schema: { body: openBody } }, async (request, reply) => {
    desk.open(request.body.role as PairedRole);
    return reply.code(201).send(desk.state);
  });
  typed.delete('/api/access/pairing', host, async (_request, reply) => {
    desk.cancel();
    return reply.code(204).send();
  });
  typed.post('/api/access/pairing/confirm', { ...host, schema: { body: confirmBody } }, async (request, reply) => {
    if (desk.confirm(request.body.agrees)) return reply.code(204).send();
    return reply.code(409).send({ error: 'nobody-waits', message: 'no device waits to be let in' });
  });

  const letIn = async (reply: FastifyReply, name: string, role: PairedRole): Promise<unknown> => {
    try {
      const { device, token } = await devices.add(name, role);
      const cookie = {
        httpOnly: true,
        sameSite: 'strict',
        path: '/',
        maxAge: cookieLifeS,
        secure: options.secure,
      } as const;
      reply.setCookie(deviceCookie, token, cookie);
      return await reply.code(201).send({ state: 'paired', role: device.role });
    } catch (error) {
      if (!(error instanceof SeamwiseError)) throw error;
      return await reply.code(409).send({ error: error.code, message: error.message });
    }
  };
  typed.post('/api/access/pair', { ...anyone, schema: { body: codeBody } }, async (request, reply) => {
    const { code, deviceName } = request.body;
    const answer = desk.tryCode(code, deviceName);
    if (answer.kind === 'refused') return reply.code(403).send({ error: 'code', message: answer.message });
    if (answer.kind === 'wait') return reply.code(202).send({ state: 'wait', ticket: answer.ticket });
    return letIn(reply, deviceName, answer.role);
  });
  typed.post('/api/access/pair/wait', { ...asking, schema: { body: ticketBody } }, async (request, reply) => {
    const answer = desk.askAgain(request.body.ticket);
    if (answer.kind === 'wait') return reply.code(202).send({ state: 'wait', ticket: request.body.ticket });
    if (answer.kind === 'paired') return letIn(reply, answer.deviceName, answer.role);
    const message = 'the host did not let this device in, or the time is over: begin anew with a new code';
    return reply.code(403).send({ error: 'refused', message });
  });

  typed.get('/api/access/devices', host, async (_request, reply) => {
    reply.header('cache-control', 'no-store');
    return { devices: devices.list() };
  });
  typed.delete(
    '/api/access/devices/:deviceId',
    { ...host, schema: { params: deviceParams } },
    async (request, reply) => {
      const { deviceId } = request.params;
      const removed = await devices.remove(deviceId);
      // What it holds open ends with it.
      sockets.closeAll(deviceId);
      if (removed) return reply.code(204).send();
      return reply.code(404).send({ error: 'no-device', message: `no device ${deviceId} is paired` });
    },
  );
}

/** Adds `GET /api/access/me`: what the page that asks may do. */
export function addRoleRoute(server: FastifyInstance): void {
  server.get('/api/access/me', asking, async (request, reply) => {
    reply.header('cache-control', 'no-store');
    const { role = null, device = null } = request.asker ?? {};
    return { role, deviceName: device?.name ?? null };
  });
}
