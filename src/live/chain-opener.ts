import { decodeSensorDescription } from '../protocol/sensor-description.ts';
import { type BallSettings, defaultWristSettings } from '../shots/shot.ts';
import { SensorChain } from './notification-chain.ts';
import type { PacketPathOptions } from './packet-path.ts';

/** @returns what makes the chain of a new stream, with these settings for all of them and each sensor's own setup. */
export function chainOpener(ballSettings: BallSettings): PacketPathOptions['openChain'] {
  return (sensorId, description, { correction, spinReferences }) =>
    new SensorChain({
      sensorName: sensorId,
      description: decodeSensorDescription(description),
      ballSettings,
      wristSettings: { ...defaultWristSettings, spinReferences },
      correction,
    });
}
