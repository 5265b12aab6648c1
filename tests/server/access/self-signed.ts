import { createPrivateKey, createPublicKey, createSign, generateKeyPairSync } from 'node:crypto';

/**
 * Makes a self-signed certificate, X.509 version 1 (RFC 5280 section 4.1 has the same fields without extensions), so
 * that no test needs a program from outside.
 *
 * @returns certificate and key in PEM.
 */
export function selfSigned({ endS = Date.now() / 1000 + 86_400, key }: { endS?: number; key?: string } = {}): {
  cert: string;
  key: string;
} {
  const privateKey = key ? createPrivateKey(key) : generateKeyPairSync('ec', { namedCurve: 'P-256' }).privateKey;
  const algorithm = der(0x30, oid([0x2a, 0x86, 0x48, 0xce, 0x3d, 0x04, 0x03, 0x02]));
  const name = der(
    0x30,
    der(0x31, der(0x30, Buffer.concat([oid([0x55, 0x04, 0x03]), der(0x0c, Buffer.from('localhost'))]))),
  );
  const time = (atS: number) =>
    der(0x18, Buffer.from(`${new Date(atS * 1000).toISOString().replace(/[-:T]/g, '').slice(0, 14)}Z`));
  const body = der(
    0x30,
    Buffer.concat([
      der(0x02, Buffer.from([1])),
      algorithm,
      name,
      der(0x30, Buffer.concat([time(endS - 10 * 86_400), time(endS)])),
      name,
      createPublicKey(privateKey).export({ type: 'spki', format: 'der' }),
    ]),
  );
  const signature = createSign('sha256').update(body).sign(privateKey);
  const whole = der(0x30, Buffer.concat([body, algorithm, der(0x03, Buffer.concat([Buffer.from([0]), signature]))]));
  const lines = whole.toString('base64').match(/.{1,64}/g) ?? [];
  return {
    cert: `-----BEGIN CERTIFICATE-----\n${lines.join('\n')}\n-----END CERTIFICATE-----\n`,
    key: String(privateKey.export({ type: 'pkcs8', format: 'pem' })),
  };
}

function der(tag: number, content: Buffer): Buffer {
  const { length } = content;
  const size = length < 128 ? [length] : length < 256 ? [0x81, length] : [0x82, length >> 8, length & 0xff];
  return Buffer.concat([Buffer.from([tag, ...size]), content]);
}

function oid(bytes: readonly number[]): Buffer {
  return der(0x06, Buffer.from(bytes));
}
