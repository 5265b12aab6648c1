import { closeSync, fsyncSync, openSync, readFileSync, renameSync, rmSync, writeSync } from 'node:fs';
import path from 'node:path';
import Type from 'typebox';
import { Check } from 'typebox/value';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { HubAccess } from './hub-client.ts';

/** Name of the file in the data folder that says where the hub is, with the key that it gave this court. */
export const hubAccessFile = 'hub.json';

const schema = Type.Object(
  { schemaVersion: Type.Literal(1), address: Type.String({ minLength: 1 }), key: Type.String({ minLength: 1 }) },
  { additionalProperties: false },
);

/** @returns where the hub is, or null without one. @throws SeamwiseError `hub-settings` for a file that cannot be read. */
export function readHubAccess(dataFolder: string): HubAccess | null {
  const file = path.join(dataFolder, hubAccessFile);
  let content: unknown;
  try {
    content = JSON.parse(readFileSync(file, 'utf8'));
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ENOENT') return null;
    throw damaged(file, error instanceof Error ? error.message : String(error));
  }
  if (!Check(schema, content)) throw damaged(file, 'it does not hold address and key as this version writes them');
  return { address: hubAddress(content.address), key: content.key };
}

/** Keeps where the hub is, for this user of the machine alone. @throws SeamwiseError `hub-settings` */
export function writeHubAccess(dataFolder: string, { address, key }: HubAccess): void {
  const file = path.join(dataFolder, hubAccessFile);
  const next = `${file}.new`;
  try {
    const descriptor = openSync(next, 'w', 0o600);
    try {
      writeSync(descriptor, `${JSON.stringify({ schemaVersion: 1, address, key }, null, 2)}\n`);
      fsyncSync(descriptor);
    } finally {
      closeSync(descriptor);
    }
    renameSync(next, file);
  } catch (error) {
    rmSync(next, { force: true });
    const why = error instanceof Error ? error.message : String(error);
    throw new SeamwiseError('hub-settings', `${file} could not be written: ${why}`);
  }
}

export function removeHubAccess(dataFolder: string): void {
  rmSync(path.join(dataFolder, hubAccessFile), { force: true });
}

/**
 * @param mayBePlain whether the key and what is handed over may go over a network as they are.
 * @returns the address with a slash behind it. @throws SeamwiseError `hub-settings`
 */
export function hubAddress(text: string, mayBePlain = true): string {
  let url: URL;
  try {
    url = new URL(text);
  } catch {
    throw wrong(text, 'expected an address such as https://hub.example/');
  }
  if (url.protocol !== 'https:' && url.protocol !== 'http:') throw wrong(text, 'expected https:// or http://');
  if (url.username !== '' || url.search !== '' || url.hash !== '') {
    throw wrong(text, 'expected nothing but host, port and path');
  }
  const isHere = ['127.0.0.1', 'localhost', '[::1]'].includes(url.hostname);
  if (url.protocol === 'http:' && !isHere && !mayBePlain) {
    throw wrong(
      text,
      'over http everybody in between reads the key and the shots: use https, or say --plain where the network is yours alone',
    );
  }
  if (!url.pathname.endsWith('/')) url.pathname += '/';
  return url.href;
}

function wrong(text: string, why: string): SeamwiseError {
  return new SeamwiseError('hub-settings', `address of the hub ${JSON.stringify(text.slice(0, 200))}: ${why}`);
}

function damaged(file: string, why: string): SeamwiseError {
  return new SeamwiseError(
    'hub-settings',
    `${file} says where the hub is and cannot be read: ${why}. Say it anew with "seamwise hub connect".`,
  );
}
