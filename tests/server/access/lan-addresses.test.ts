import type os from 'node:os';
import { expect, test } from 'vitest';
import { lanAddresses } from '../../../src/server/access/lan-addresses.ts';

type Address = os.NetworkInterfaceInfo;
const of = (family: 'IPv4' | 'IPv6', address: string, internal = false) =>
  ({ family, address, internal, netmask: '', mac: '', cidr: null, scopeid: 0 }) as Address;

test('private addresses are shown first (RFC 1918); link-local and inner ones are left out', () => {
  const interfaces = {
    lo: [of('IPv4', '127.0.0.1', true), of('IPv6', '::1', true)],
    tunnel: [of('IPv4', '203.0.113.5')],
    wifi: [of('IPv4', '172.31.4.9'), of('IPv6', 'fe80::1'), of('IPv6', '2001:DB8::7'), of('IPv4', '169.254.1.1')],
  };
  expect(lanAddresses(interfaces, 'Court-Laptop')).toEqual({
    names: ['203.0.113.5', '172.31.4.9', '[2001:db8::7]', 'court-laptop', 'court-laptop.local'],
    shown: '172.31.4.9',
  });
});

test('172.32 is not private', () => {
  const interfaces = { a: [of('IPv4', '172.32.0.1')], b: [of('IPv4', '10.0.0.1')] };
  expect(lanAddresses(interfaces, 'x').shown).toBe('10.0.0.1');
});

test('a machine without a network, and names that are no host names', () => {
  expect(lanAddresses({}, '127.0.0.1')).toEqual({ names: [], shown: null });
  expect(lanAddresses({}, 'a b').names).toEqual([]);
  expect(lanAddresses({}, 'court.gym.example').names).toEqual(['court.gym.example']);
});
