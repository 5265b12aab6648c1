import { readFileSync, statSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { expect, it } from 'vitest';
import {
  hubAccessFile,
  hubAddress,
  readHubAccess,
  removeHubAccess,
  writeHubAccess,
} from '../../../src/server/hub/hub-access-file.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';

it('keeps where the hub is for this user alone, and forgets it', () => {
  const folder = temporaryFolder();
  expect(readHubAccess(folder)).toBeNull();
  writeHubAccess(folder, { address: 'https://hub.example/club', key: 'a key' });
  expect(readHubAccess(folder)).toEqual({ address: 'https://hub.example/club/', key: 'a key' });
  expect(statSync(path.join(folder, hubAccessFile)).mode & 0o777).toBe(0o600);
  removeHubAccess(folder);
  expect(readHubAccess(folder)).toBeNull();
});

it.each([
  ['{"schemaVersion":1,', 'JSON'],
  ['{"schemaVersion":2,"address":"https://hub.example/","key":"k"}', 'address and key'],
  ['{"schemaVersion":1,"address":"https://hub.example/","key":""}', 'address and key'],
])('says of a damaged file what to do, and leaves it as it is: %s', (content, why) => {
  const folder = temporaryFolder();
  const file = path.join(folder, hubAccessFile);
  writeFileSync(file, content);
  expect(() => readHubAccess(folder)).toThrow(
    expect.objectContaining({
      code: 'hub-settings',
      message: expect.stringMatching(new RegExp(`${why}.*hub connect`)),
    }),
  );
  expect(readFileSync(file, 'utf8')).toBe(content);
});

it('says so where it cannot be written', () => {
  const folder = path.join(temporaryFolder(), 'not-there');
  expect(() => writeHubAccess(folder, { address: 'https://hub.example/', key: 'k' })).toThrow(
    expect.objectContaining({ code: 'hub-settings', message: expect.stringContaining('could not be written') }),
  );
});

it('takes plain http on this machine alone, unless told that the network is ours', () => {
  expect(hubAddress('http://127.0.0.1:8124', false)).toBe('http://127.0.0.1:8124/');
  expect(hubAddress('http://hub.example/', true)).toBe('http://hub.example/');
  for (const address of [
    'http://hub.example/',
    'ftp://hub.example/',
    'hub.example',
    'https://name@hub.example/',
    'https://hub.example/?a=1',
  ]) {
    expect(() => hubAddress(address, false), address).toThrow(expect.objectContaining({ code: 'hub-settings' }));
  }
});
