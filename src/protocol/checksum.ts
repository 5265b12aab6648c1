/**
 * Checksums of the stream format. Names and check values: G. Cook, "Catalogue of parametrised CRC algorithms".
 * Ordinary table-driven form, most significant bit first.
 */
const crc16Table = Uint16Array.from({ length: 256 }, (_, byte) => shiftOut(byte << 8, 0x1021, 0x8000, 0xffff));
const crc8Table = Uint8Array.from({ length: 256 }, (_, byte) => shiftOut(byte, 0x1d, 0x80, 0xff));

function shiftOut(start: number, polynomial: number, topBit: number, mask: number): number {
  let register = start;
  for (let bit = 0; bit < 8; bit++) {
    register = ((register & topBit) !== 0 ? (register << 1) ^ polynomial : register << 1) & mask;
  }
  return register;
}

/** Start value of `crc16`. */
export const crc16Start = 0xffff;

/** CRC-16/IBM-3740 over `bytes[start, end)`, going on from `register`. */
export function crc16(bytes: Uint8Array, start: number, end: number, register = crc16Start): number {
  let value = register;
  for (let at = start; at < end; at++) {
    value = ((value << 8) & 0xffff) ^ crc16Table[(value >>> 8) ^ bytes[at]!]!;
  }
  return value;
}

/** Register of CRC-8/SAE-J1850 before its final inversion; finish with `^ 0xff`. */
export function crc8Register(bytes: Uint8Array, start: number, end: number, register = 0xff): number {
  let value = register;
  for (let at = start; at < end; at++) value = crc8Table[value ^ bytes[at]!]!;
  return value;
}
