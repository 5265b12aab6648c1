import { SeamwiseError } from '../foundation/errors.ts';
import { decodeControlAnswer, encodeControlRequest } from '../protocol/control-message.ts';
import { sensorCharacteristics, sensorServiceUuid } from '../protocol/gatt-layout.ts';
import { decodeSensorDescription } from '../protocol/sensor-description.ts';
import type { DeviceKind, PreparedDevice } from './device-kind.ts';
import type { GattSession } from './radio.ts';

const { stream, description, control } = sensorCharacteristics;
const blinkS = 5;

/** Sensors that speak the protocol of `firmware-protocol/`. */
export const ownProtocolKind: DeviceKind = {
  name: 'stream format',
  fits: ({ serviceUuids }) => serviceUuids.includes(sensorServiceUuid),
  async prepare(session): Promise<PreparedDevice> {
    const { bytes, sensorId } = await readDescription(session);
    const canControl = session.characteristics.some(
      ({ service, characteristic }) => service === control.service && characteristic === control.characteristic,
    );
    return {
      sensorId,
      description: bytes,
      start: (take) => session.subscribe(stream, take),
      identify: canControl ? () => identify(session, sensorId) : null,
    };
  },
};

/** A document that was damaged on its way is read once more. */
async function readDescription(session: GattSession): Promise<{ bytes: Uint8Array; sensorId: string }> {
  let bytes = await session.read(description);
  try {
    return { bytes, sensorId: decodeSensorDescription(bytes).sensorId };
  } catch {
    bytes = await session.read(description);
    return { bytes, sensorId: decodeSensorDescription(bytes).sensorId };
  }
}

let lastRequest = 0;

async function identify(session: GattSession, sensorId: string): Promise<void> {
  lastRequest = (lastRequest % 255) + 1;
  await session.write(control, encodeControlRequest({ kind: 'identify', durationS: blinkS }, lastRequest));
  const decoded = decodeControlAnswer(await session.read(control));
  if (decoded.kind === 'corrupt') {
    throw new SeamwiseError(
      'sensor-cannot-identify',
      `sensor ${sensorId} answered in a way that makes no sense: ${decoded.problem}`,
    );
  }
  const { status } = decoded.answer;
  if (status !== 'done') {
    throw new SeamwiseError('sensor-cannot-identify', `sensor ${sensorId} refused to show itself: it says ${status}`);
  }
}
