import type { ImuBlock, SensorTraits } from '../../foundation/imu-block.ts';
import { csvLines } from '../../simulate/practice-csv.ts';

/** A block as lines of a CSV recording, which cannot state the delay of a sensor's filter: it is taken out of the times. */
export function* csvText(block: ImuBlock, traits: SensorTraits): Generator<string> {
  for (const line of csvLines(block, -traits.filterDelayS)) yield `${line}\n`;
}
