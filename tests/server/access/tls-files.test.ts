import { generateKeyPairSync } from 'node:crypto';
import { writeFileSync } from 'node:fs';
import path from 'node:path';
import { expect, test } from 'vitest';
import { readTlsFiles } from '../../../src/server/access/tls-files.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import { selfSigned } from './self-signed.ts';

function write(folder: string, name: string, text: string): string {
  const file = path.join(folder, name);
  writeFileSync(file, text);
  return file;
}

test('a pair that belongs together is read', async () => {
  const folder = temporaryFolder();
  const made = selfSigned();
  const certFile = write(folder, 'cert.pem', made.cert);
  const keyFile = write(folder, 'key.pem', made.key);
  expect(await readTlsFiles({ certFile, keyFile })).toEqual(made);
});

test('what is wrong is said before the service listens', async () => {
  const folder = temporaryFolder();
  const { cert, key } = selfSigned();
  const certFile = write(folder, 'cert.pem', cert);
  const keyFile = write(folder, 'key.pem', key);
  const other = generateKeyPairSync('ec', { namedCurve: 'P-256' }).privateKey.export({ type: 'pkcs8', format: 'pem' });
  const otherKey = write(folder, 'other.pem', String(other));
  const text = write(folder, 'text.pem', 'not PEM');
  const old = write(folder, 'old.pem', selfSigned({ endS: Date.parse('2020-01-01T00:00:00Z') / 1000, key }).cert);
  const refused = async (files: { certFile: string; keyFile: string }, says: RegExp) =>
    expect(readTlsFiles(files)).rejects.toMatchObject({
      code: 'service-certificate',
      message: expect.stringMatching(says),
    });
  await refused({ certFile: path.join(folder, 'none.pem'), keyFile }, /expected a certificate in .*none\.pem/);
  await refused({ certFile: text, keyFile }, /expected a certificate in PEM/);
  await refused({ certFile, keyFile: text }, /expected a private key/);
  await refused({ certFile, keyFile: otherKey }, /does not belong to the certificate/);
  await refused({ certFile: old, keyFile }, /ended on/);
});
