import { randomBytes, randomInt } from 'node:crypto';
import type { AddressInfo } from 'node:net';
import type { FastifyInstance } from 'fastify';
import type { Clock } from '../foundation/clock.ts';
import { SeamwiseError } from '../foundation/errors.ts';
import { lanAddresses } from './access/lan-addresses.ts';
import { PairedDevices } from './access/paired-devices.ts';
import { PairingDesk } from './access/pairing-desk.ts';
import type { LanOptions } from './build-server.ts';
import type { ServiceOptions } from './service-options.ts';

/** What lets other devices in: those that were let in before, and a desk for new ones. */
export async function lanOptions(
  { dataFolder, names = [] }: Pick<ServiceOptions, 'dataFolder' | 'names'>,
  clock: Clock,
  pageUrl: () => string | null,
): Promise<LanOptions> {
  const desk = new PairingDesk({
    clock,
    makeCode: () => String(randomInt(1_000_000)).padStart(6, '0'),
    makeTicket: () => randomBytes(32).toString('base64url'),
  });
  const devices = await PairedDevices.open(dataFolder, clock);
  return { devices, desk, ownNames: () => [...lanAddresses().names, ...names], pageUrl };
}

/** @returns the port that was taken. @throws SeamwiseError `service-port`; the server is then closed. */
export async function listen(server: FastifyInstance, host: string, port: number): Promise<number> {
  try {
    await server.listen({ host, port });
  } catch (error) {
    const code = error instanceof Error && 'code' in error ? error.code : null;
    // A machine without IPv6.
    if (host === '::' && code === 'EAFNOSUPPORT') return listen(server, '0.0.0.0', port);
    await server.close();
    const why = error instanceof Error ? error.message : String(error);
    throw new SeamwiseError(
      'service-port',
      code === 'EADDRINUSE'
        ? `port ${port} on ${host} is taken by another program, perhaps a Seamwise that runs already: stop that one or name another port`
        : `cannot listen on port ${port} of ${host}: ${why}. Name another port.`,
    );
  }
  return (server.server.address() as AddressInfo).port;
}

/** @returns the address of the page on this machine. */
export function ownUrl(scheme: 'http' | 'https', host: string, port: number): string {
  return `${scheme}://${host === '::1' ? '[::1]' : host}:${port}/`;
}

/** @returns the address of the page for devices of the same network, or null without one. */
export function networkUrl(scheme: 'http' | 'https', port: number): string | null {
  const { shown } = lanAddresses();
  return shown === null ? null : `${scheme}://${shown}:${port}/`;
}
