import { randomBytes } from 'node:crypto';

let lastMs = 0;
let countInMs = 0;

/**
 * A new identity that no other machine will give: UUID version 7 (RFC 9562, section 5.7). Those of one process rise: within a
 * millisecond a counter of 12 bits does it (RFC 9562, section 6.2, method 1).
 *
 * @param nowS seconds since the Unix epoch.
 */
export function newId(nowS: number): string {
  const nowMs = Math.max(0, Math.floor(nowS * 1000));
  if (nowMs > lastMs) {
    lastMs = nowMs;
    countInMs = 0;
  } else if (++countInMs > 0xfff) {
    // A clock that was set back, or thousands at once: time moves on here instead.
    lastMs += 1;
    countInMs = 0;
  }
  const bytes = randomBytes(16);
  bytes.writeUIntBE(lastMs, 0, 6);
  bytes.writeUInt16BE(0x7000 | countInMs, 6);
  bytes[8] = 0x80 | ((bytes[8] as number) & 0x3f);
  const hex = bytes.toString('hex');
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join('-');
}
