/**
 * Where a sensor that speaks the project's own protocol has what: the GATT side of firmware-protocol/gatt.md.
 *
 * UUIDs are lower-case: four hex digits where the Bluetooth SIG assigned them, else 128 bits with dashes.
 */

/** Properties of a GATT characteristic that this protocol uses. */
export type GattProperty = 'read' | 'write' | 'notify';

export interface GattPlace {
  readonly service: string;
  readonly characteristic: string;
  /** What the characteristic must be able to do. */
  readonly properties: readonly GattProperty[];
}

/** The own service; it stands in the advertisement. */
export const sensorServiceUuid = 'a01e2852-69d0-4666-85cd-fd7d5fa55ab1';
/** Bluetooth SIG, Assigned Numbers: Device Information and Battery. */
export const deviceInformationUuid = '180a';
export const batteryServiceUuid = '180f';

/** The characteristics of the own service. */
export const sensorCharacteristics = {
  stream: place(sensorServiceUuid, '8d1f343f-925b-4ea3-bd9e-eaaa2b9fe008', 'notify'),
  description: place(sensorServiceUuid, 'b8390a62-ef1b-499f-994a-392e2e0efc34', 'read'),
  control: place(sensorServiceUuid, 'fe65664b-37a8-4da1-9184-69a8fc9b9216', 'read', 'write'),
} as const;

/** Standard characteristics that a sensor shows besides. A serial number (0x2a25) is left out: it tracks its owner. */
export const standardCharacteristics = {
  batteryPercent: place(batteryServiceUuid, '2a19', 'read'),
  manufacturer: place(deviceInformationUuid, '2a29', 'read'),
  model: place(deviceInformationUuid, '2a24', 'read'),
  hardwareRevision: place(deviceInformationUuid, '2a27', 'read'),
  firmwareRevision: place(deviceInformationUuid, '2a26', 'read'),
} as const;

/** What the name in an advertisement looks like: the same for all, but for four hex digits drawn at every power-up. */
export const neutralNamePattern = /^IMU-[0-9A-F]{4}$/;

function place(service: string, characteristic: string, ...properties: GattProperty[]): GattPlace {
  return Object.freeze({ service, characteristic, properties: Object.freeze(properties) });
}

const sigBase = '-0000-1000-8000-00805f9b34fb';

/**
 * Brings a UUID as some Bluetooth stack writes it into this project's form.
 *
 * @param text with or without dashes, in either case; 4, 8 or 32 hex digits.
 * @returns the UUID, or null where the text is none.
 */
export function normaliseUuid(text: string): string | null {
  const digits = text.toLowerCase().replaceAll('-', '');
  if (!/^(?:[0-9a-f]{4}|[0-9a-f]{8}|[0-9a-f]{32})$/.test(digits)) return null;
  const full =
    digits.length === 32
      ? `${digits.slice(0, 8)}-${digits.slice(8, 12)}-${digits.slice(12, 16)}-${digits.slice(16, 20)}-${digits.slice(20)}`
      : `${digits.padStart(8, '0')}${sigBase}`;
  return full.startsWith('0000') && full.endsWith(sigBase) ? full.slice(4, 8) : full;
}
