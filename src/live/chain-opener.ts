import { decodeSensorDescription } from '../protocol/sensor-description.ts';
import { type BallSettings, defaultWristSettings } from '../shots/shot.ts';
import { SensorChain } from './notification-chain.ts';
import type { PacketPathOptions } from './packet-path.ts';

/**
 * @param firstEstimates whether shots are told early as well, before they are over.
 * @returns what makes the chain of a new stream, with these settings for all of them and each sensor's own setup.
 */
export function chainOpener(ballSettings: BallSettings, firstEstimates = true): PacketPathOptions['openChain'] {
  return (sensorId, description, { correction, spinReferences }) =>
    new SensorChain({
      sensorName: sensorId,
      description: decodeSensorDescription(description),
      ballSettings,
      wristSettings: { ...defaultWristSettings, spinReferences },
      correction,
      firstEstimates,
    });
}
