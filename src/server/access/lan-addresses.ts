import os from 'node:os';

/** Where other devices of the same network reach this machine. */
export interface LanAddresses {
  /** Lower case, IPv6 in brackets, no port: what a Host header may name. */
  readonly names: readonly string[];
  /** The one to show first: a private IPv4 address where there is one, or null without a network. */
  readonly shown: string | null;
}

/** Link-local addresses need a zone, which no browser takes in an address. */
const linkLocal = /^(fe80:|169\.254\.)/i;
/** Private IPv4 blocks, RFC 1918. */
const privateBlock = /^(10\.|192\.168\.|172\.(1[6-9]|2\d|3[01])\.)/;

/** @param interfaces as the operating system lists them. */
export function lanAddresses(
  interfaces: NodeJS.Dict<os.NetworkInterfaceInfo[]> = os.networkInterfaces(),
  hostName: string = os.hostname(),
): LanAddresses {
  const outward = Object.values(interfaces)
    .flatMap((list) => list ?? [])
    .filter(({ internal, address }) => !internal && !linkLocal.test(address));
  const v4 = outward.filter(({ family }) => family === 'IPv4').map(({ address }) => address);
  const v6 = outward.filter(({ family }) => family === 'IPv6').map(({ address }) => `[${address.toLowerCase()}]`);
  const name = hostName.toLowerCase();
  const nameFits = /^[a-z0-9-]+(\.[a-z0-9-]+)*$/.test(name) && !/^[\d.]+$/.test(name);
  const names = nameFits ? [name, ...(name.includes('.') ? [] : [`${name}.local`])] : [];
  const shown = v4.find((address) => privateBlock.test(address)) ?? v4[0] ?? v6[0] ?? null;
  return { names: [...v4, ...v6, ...names], shown };
}
