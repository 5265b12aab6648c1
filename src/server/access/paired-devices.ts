import { createHash, randomBytes } from 'node:crypto';
import { open, readFile, rename, rm } from 'node:fs/promises';
import path from 'node:path';
import Type from 'typebox';
import { Check } from 'typebox/value';
import type { Clock } from '../../foundation/clock.ts';
import { SeamwiseError } from '../../foundation/errors.ts';
import { type PairedRole, pairedRoles } from './roles.ts';

export const pairedDevicesFile = 'paired-devices.json';
const fileVersion = 1;
/** How exact the time of a device's last request is kept, seconds. */
const seenStepS = 3600;
/** More devices than any gym has; a pairing beyond them is refused, so that the file stays small. */
const mostDevices = 200;

const deviceSchema = Type.Object(
  {
    id: Type.String({ pattern: '^[0-9a-f]{16}$' }),
    name: Type.String({ minLength: 1, maxLength: 60 }),
    role: Type.Enum([...pairedRoles]),
    /** SHA-256 of the token, hex: whoever reads the file cannot come in with it. */
    tokenHash: Type.String({ pattern: '^[0-9a-f]{64}$' }),
    pairedAtS: Type.Number(),
    seenAtS: Type.Number(),
  },
  { additionalProperties: false },
);
const fileSchema = Type.Object(
  { schemaVersion: Type.Literal(fileVersion), devices: Type.Array(deviceSchema, { maxItems: mostDevices }) },
  { additionalProperties: false },
);
type Device = Type.Static<typeof deviceSchema>;

/** What may be told of a device. */
export type PairedDevice = Readonly<Omit<Device, 'tokenHash'>>;

/**
 * The devices that were let in, in one file of the data folder, replaced as a whole. A file that cannot be read lets
 * nobody in and is never written over.
 */
export class PairedDevices {
  readonly #file: string;
  readonly #clock: Clock;
  #devices: readonly Device[];
  #writing: Promise<void> = Promise.resolve();

  private constructor(file: string, clock: Clock, devices: readonly Device[]) {
    this.#file = file;
    this.#clock = clock;
    this.#devices = devices;
  }

  /** @throws SeamwiseError `paired-devices-damaged` */
  static async open(folder: string, clock: Clock): Promise<PairedDevices> {
    const file = path.join(folder, pairedDevicesFile);
    return new PairedDevices(file, clock, await readDevices(file));
  }

  list(): readonly PairedDevice[] {
    return this.#devices.map(({ tokenHash: _, ...device }) => device);
  }

  /**
   * Lets a device in.
   *
   * @returns its token, which is kept nowhere here.
   * @throws SeamwiseError `paired-devices-full`, `paired-devices-not-written`
   */
  async add(name: string, role: PairedRole): Promise<{ readonly device: PairedDevice; readonly token: string }> {
    if (this.#devices.length >= mostDevices) {
      throw new SeamwiseError(
        'paired-devices-full',
        `${mostDevices} devices are paired, which is all that may be: remove some that are not used any more`,
      );
    }
    const token = randomBytes(32).toString('base64url');
    const nowS = this.#clock.nowS();
    const device = { id: randomBytes(8).toString('hex'), name: shownName(name), role, pairedAtS: nowS, seenAtS: nowS };
    await this.#write([...this.#devices, { ...device, tokenHash: hashOf(token) }]);
    return { device, token };
  }

  /** @returns the device that a token belongs to, or null. */
  find(token: string): PairedDevice | null {
    const tokenHash = hashOf(token);
    // Hashes of a random token: how long the comparison takes tells nothing that could be used.
    const device = this.#devices.find((one) => one.tokenHash === tokenHash);
    if (!device) return null;
    const nowS = this.#clock.nowS();
    if (nowS - device.seenAtS > seenStepS) {
      const devices = this.#devices.map((one) => (one.id === device.id ? { ...one, seenAtS: nowS } : one));
      // Worth keeping, not worth refusing a request for.
      this.#write(devices).catch(() => {});
    }
    const { tokenHash: _, ...shown } = device;
    return shown;
  }

  /** @returns false where there was no such device. @throws SeamwiseError `paired-devices-not-written` */
  async remove(id: string): Promise<boolean> {
    const left = this.#devices.filter((device) => device.id !== id);
    if (left.length === this.#devices.length) return false;
    await this.#write(left);
    return true;
  }

  /** Holds at once, so that a removed device is out even where the disk is full. */
  #write(devices: readonly Device[]): Promise<void> {
    this.#devices = devices;
    const done = this.#writing.then(() => writeDevices(this.#file, this.#devices));
    this.#writing = done.catch(() => {});
    return done;
  }
}

async function readDevices(file: string): Promise<readonly Device[]> {
  let text: string;
  try {
    text = await readFile(file, 'utf8');
  } catch (error) {
    if (error instanceof Error && 'code' in error && error.code === 'ENOENT') return [];
    throw damaged(file, error instanceof Error ? error.message : String(error));
  }
  let content: unknown;
  try {
    content = JSON.parse(text);
  } catch (error) {
    throw damaged(file, error instanceof Error ? error.message : String(error));
  }
  if (!Check(fileSchema, content)) throw damaged(file, 'it does not hold a list of devices as this version writes it');
  return content.devices;
}

function damaged(file: string, why: string): SeamwiseError {
  return new SeamwiseError(
    'paired-devices-damaged',
    `the list of paired devices in ${file} cannot be read: ${why}. Move the file away to begin with none; every device then pairs anew.`,
  );
}

async function writeDevices(file: string, devices: readonly Device[]): Promise<void> {
  const next = `${file}.new`;
  try {
    const handle = await open(next, 'w', 0o600);
    try {
      await handle.writeFile(`${JSON.stringify({ schemaVersion: fileVersion, devices }, null, 2)}\n`);
      await handle.sync();
    } finally {
      await handle.close();
    }
    await rename(next, file);
  } catch (error) {
    await rm(next, { force: true }).catch(() => {});
    throw new SeamwiseError(
      'paired-devices-not-written',
      `the list of paired devices could not be written to ${file}: ${error instanceof Error ? error.message : String(error)}`,
    );
  }
}

function hashOf(token: string): string {
  return createHash('sha256').update(token).digest('hex');
}

/** Names come from strangers: no control characters, and none empty. */
function shownName(name: string): string {
  const shown = name
    .replace(/[\p{C}\p{Zl}\p{Zp}]/gu, ' ')
    .trim()
    .slice(0, 60);
  return shown === '' ? 'unnamed device' : shown;
}
