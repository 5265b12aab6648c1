import { standardCharacteristics } from '../protocol/gatt-layout.ts';
import { type CharacteristicRef, type GattSession, RadioError } from './radio.ts';
import type { SensorInformation } from './sensor-provider.ts';

type Read = Pick<
  SensorInformation,
  | 'batteryPercent'
  | 'manufacturer'
  | 'model'
  | 'serialNumber'
  | 'hardwareRevision'
  | 'firmwareRevision'
  | 'softwareRevision'
>;

const deviceInformation = standardCharacteristics.model.service;
const more = { serialNumber: '2a25', softwareRevision: '2a28' } as const;

/**
 * Reads the standard services as far as the device has them. Texts come from strangers: control characters are taken
 * out and the length is bounded.
 *
 * @throws RadioError when the link did not survive it.
 */
export async function readInformation(session: GattSession): Promise<Read> {
  const { manufacturer, model, hardwareRevision, firmwareRevision } = standardCharacteristics;
  const at = (characteristic: string): CharacteristicRef => ({ service: deviceInformation, characteristic });
  return {
    batteryPercent: await readBattery(session),
    manufacturer: await readText(session, manufacturer),
    model: await readText(session, model),
    serialNumber: await readText(session, at(more.serialNumber)),
    hardwareRevision: await readText(session, hardwareRevision),
    firmwareRevision: await readText(session, firmwareRevision),
    softwareRevision: await readText(session, at(more.softwareRevision)),
  };
}

/**
 * @returns percent, or null where the device does not say it or says more than 100.
 * @throws RadioError when the link did not survive it.
 */
export async function readBattery(session: GattSession): Promise<number | null> {
  const bytes = await readIfThere(session, standardCharacteristics.batteryPercent);
  const percent = bytes?.length === 1 ? bytes[0]! : null;
  return percent !== null && percent <= 100 ? percent : null;
}

async function readText(session: GattSession, ref: CharacteristicRef): Promise<string | null> {
  const bytes = await readIfThere(session, ref);
  if (bytes === null) return null;
  return plainText(new TextDecoder().decode(bytes));
}

/** @returns text from a stranger, fit to be shown, or null where nothing is left of it. */
export function plainText(text: string): string | null {
  const plain = text.replaceAll(/[\p{C}\p{Zl}\p{Zp}]+/gu, ' ').trim();
  return plain === '' ? null : plain.slice(0, 60);
}

async function readIfThere(session: GattSession, ref: CharacteristicRef): Promise<Uint8Array | null> {
  const has = session.characteristics.some(
    ({ service, characteristic, properties }) =>
      service === ref.service && characteristic === ref.characteristic && properties.includes('read'),
  );
  if (!has) return null;
  try {
    return await session.read(ref);
  } catch (error) {
    // Refused is an answer; anything else has ended the link.
    if (error instanceof RadioError && error.code === 'refused') return null;
    throw error;
  }
}
