/**
 * Packs the files of a folder into one ZIP archive as it is sent, so that it needs no room of its own (.ZIP File Format Specification
 * APPNOTE 6.3, with its 64-bit extension for what is large). Entries are packed by deflate; sizes and sums stand behind them and in the list
 * at the end. Names are UTF-8.
 */
import { createReadStream, readdirSync, statSync } from 'node:fs';
import path from 'node:path';
import { crc32, createDeflateRaw } from 'node:zlib';

interface Entry {
  readonly name: Buffer;
  readonly at: number;
  readonly crc: number;
  readonly packedBytes: number;
  readonly bytes: number;
}

const most32 = 0xffffffff;
const zip64Version = 45;
/** Sizes stand behind the entry (bit 3), names are UTF-8 (bit 11). */
const flags = 0x0808;
const deflated = 8;
/** 1 January 1980: when the files were made is nobody's business. */
const dosDate = 0x21;

/** @returns the archive, piece by piece. */
export async function* zipFolder(folder: string): AsyncGenerator<Buffer> {
  const entries: Entry[] = [];
  let at = 0;
  for (const file of filesIn(folder)) {
    const name = Buffer.from(file);
    const head = localHead(name);
    yield head;
    let [crc, packedBytes, bytes] = [0, 0, 0];
    const source = createReadStream(path.join(folder, ...file.split('/')));
    const packing = createDeflateRaw({ level: 6 });
    source.on('data', (chunk) => {
      crc = crc32(chunk, crc);
      bytes += chunk.length;
    });
    source.on('error', (error) => packing.destroy(error));
    source.pipe(packing);
    try {
      for await (const chunk of packing as AsyncIterable<Buffer>) {
        packedBytes += chunk.length;
        yield chunk;
      }
    } finally {
      source.destroy();
    }
    const tail = sizesBehind(crc, packedBytes, bytes);
    yield tail;
    entries.push({ name, at, crc, packedBytes, bytes });
    at += head.length + packedBytes + tail.length;
  }
  const list = entries.map(listed);
  yield* list;
  yield endOf(
    entries.length,
    at,
    list.reduce((sum, { length }) => sum + length, 0),
  );
}

/** Paths under the folder with forward slashes, in order. */
function filesIn(folder: string, under = ''): string[] {
  return readdirSync(path.join(folder, under))
    .sort()
    .flatMap((name) => {
      const inside = under === '' ? name : `${under}/${name}`;
      return statSync(path.join(folder, inside)).isDirectory() ? filesIn(folder, inside) : [inside];
    });
}

function localHead(name: Buffer): Buffer {
  const head = Buffer.alloc(30);
  head.writeUInt32LE(0x04034b50, 0);
  head.writeUInt16LE(zip64Version, 4);
  head.writeUInt16LE(flags, 6);
  head.writeUInt16LE(deflated, 8);
  head.writeUInt16LE(dosDate, 12);
  // Sizes of 64 bits are announced by the extension, which says here that they come later.
  head.writeUInt32LE(most32, 18);
  head.writeUInt32LE(most32, 22);
  head.writeUInt16LE(name.length, 26);
  head.writeUInt16LE(20, 28);
  const extension = Buffer.alloc(20);
  extension.writeUInt16LE(1, 0);
  extension.writeUInt16LE(16, 2);
  return Buffer.concat([head, name, extension]);
}

function sizesBehind(crc: number, packedBytes: number, bytes: number): Buffer {
  const tail = Buffer.alloc(24);
  tail.writeUInt32LE(0x08074b50, 0);
  tail.writeUInt32LE(crc, 4);
  tail.writeBigUInt64LE(BigInt(packedBytes), 8);
  tail.writeBigUInt64LE(BigInt(bytes), 16);
  return tail;
}

function listed({ name, at, crc, packedBytes, bytes }: Entry): Buffer {
  const head = Buffer.alloc(46);
  head.writeUInt32LE(0x02014b50, 0);
  head.writeUInt16LE(zip64Version, 4);
  head.writeUInt16LE(zip64Version, 6);
  head.writeUInt16LE(flags, 8);
  head.writeUInt16LE(deflated, 10);
  head.writeUInt16LE(dosDate, 14);
  head.writeUInt32LE(crc, 16);
  head.writeUInt32LE(most32, 20);
  head.writeUInt32LE(most32, 24);
  head.writeUInt16LE(name.length, 28);
  head.writeUInt16LE(28, 30);
  head.writeUInt32LE(most32, 42);
  const extension = Buffer.alloc(28);
  extension.writeUInt16LE(1, 0);
  extension.writeUInt16LE(24, 2);
  extension.writeBigUInt64LE(BigInt(bytes), 4);
  extension.writeBigUInt64LE(BigInt(packedBytes), 12);
  extension.writeBigUInt64LE(BigInt(at), 20);
  return Buffer.concat([head, name, extension]);
}

function endOf(count: number, listAt: number, listBytes: number): Buffer {
  const end64 = Buffer.alloc(56);
  end64.writeUInt32LE(0x06064b50, 0);
  end64.writeBigUInt64LE(44n, 4);
  end64.writeUInt16LE(zip64Version, 12);
  end64.writeUInt16LE(zip64Version, 14);
  end64.writeBigUInt64LE(BigInt(count), 24);
  end64.writeBigUInt64LE(BigInt(count), 32);
  end64.writeBigUInt64LE(BigInt(listBytes), 40);
  end64.writeBigUInt64LE(BigInt(listAt), 48);
  const place = Buffer.alloc(20);
  place.writeUInt32LE(0x07064b50, 0);
  place.writeBigUInt64LE(BigInt(listAt + listBytes), 8);
  place.writeUInt32LE(1, 16);
  const end = Buffer.alloc(22);
  end.writeUInt32LE(0x06054b50, 0);
  end.writeUInt16LE(Math.min(count, 0xffff), 8);
  end.writeUInt16LE(Math.min(count, 0xffff), 10);
  end.writeUInt32LE(Math.min(listBytes, most32), 12);
  end.writeUInt32LE(most32, 16);
  return Buffer.concat([end64, place, end]);
}
