import { createPrivateKey, X509Certificate } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { createSecureContext } from 'node:tls';
import { SeamwiseError } from '../../foundation/errors.ts';

export interface TlsFiles {
  /** PEM file of the certificate, with those above it where there are any. */
  readonly certFile: string;
  /** PEM file of its private key, without a passphrase. */
  readonly keyFile: string;
}

/**
 * Reads certificate and key, and finds out what is wrong with them before the service listens.
 *
 * @throws SeamwiseError `service-certificate`
 */
export async function readTlsFiles(files: TlsFiles): Promise<{ readonly cert: string; readonly key: string }> {
  const cert = await readPem(files.certFile, 'a certificate');
  const key = await readPem(files.keyFile, 'a private key');
  const certificate = parsed(files.certFile, 'a certificate', () => new X509Certificate(cert));
  const privateKey = parsed(files.keyFile, 'a private key without a passphrase', () => createPrivateKey(key));
  if (!certificate.checkPrivateKey(privateKey)) {
    throw new SeamwiseError(
      'service-certificate',
      `the key in ${files.keyFile} does not belong to the certificate in ${files.certFile}: name the pair that was made together`,
    );
  }
  if (Date.parse(certificate.validTo) < Date.now()) {
    throw new SeamwiseError(
      'service-certificate',
      `the certificate in ${files.certFile} ended on ${certificate.validTo}: browsers would refuse it. Make a new one.`,
    );
  }
  parsed(files.certFile, 'a certificate that TLS can use', () => createSecureContext({ cert, key }));
  return { cert, key };
}

async function readPem(file: string, what: string): Promise<string> {
  try {
    return await readFile(file, 'utf8');
  } catch (error) {
    throw new SeamwiseError(
      'service-certificate',
      `expected ${what} in ${file}, which cannot be read: ${wordsOf(error)}`,
    );
  }
}

function parsed<T>(file: string, what: string, read: () => T): T {
  try {
    return read();
  } catch (error) {
    throw new SeamwiseError('service-certificate', `expected ${what} in PEM in ${file}: ${wordsOf(error)}`);
  }
}

function wordsOf(error: unknown): string {
  return error instanceof Error ? error.message : String(error);
}
