/** Kinds of what goes between a controller and the fake socket of another process. */
export const frameKind = { packet: 0, up: 1, read: 2 } as const;

/** @returns length (u16), kind (u8), bytes. */
export function frame(kind: number, bytes: Uint8Array): Buffer {
  const whole = Buffer.alloc(3 + bytes.length);
  whole.writeUInt16LE(bytes.length, 0);
  whole[2] = kind;
  whole.set(bytes, 3);
  return whole;
}

/** Puts frames together again. */
export class FrameReader {
  readonly #take: (kind: number, bytes: Buffer) => void;
  #rest: Buffer = Buffer.alloc(0);

  constructor(take: (kind: number, bytes: Buffer) => void) {
    this.#take = take;
  }

  push(bytes: Buffer): void {
    let rest: Buffer = this.#rest.length === 0 ? bytes : Buffer.concat([this.#rest, bytes]);
    while (rest.length >= 3) {
      const end = 3 + rest.readUInt16LE(0);
      if (rest.length < end) break;
      this.#take(rest[2]!, Buffer.from(rest.subarray(3, end)));
      rest = rest.subarray(end);
    }
    this.#rest = rest;
  }
}
