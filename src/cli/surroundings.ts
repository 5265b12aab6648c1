import type { Radio } from '../devices/radio.ts';
import type { Clock } from '../foundation/clock.ts';
import type { Config } from './config.ts';

/** What the program has around it. Handed in, so that a test can be the surroundings. */
export interface Surroundings {
  readonly stdout: NodeJS.WritableStream;
  readonly stderr: NodeJS.WritableStream;
  /** Characters a line of stdout may have. */
  readonly widthColumns: number;
  /** @throws UsageError when the environment makes no sense. */
  readConfig(): Config;
  /** @returns when somebody asks the program to end. */
  untilEndIsAsked(): Promise<void>;
  /** The Bluetooth radio for the commands about sensors; absent: that of this machine. */
  readonly openRadio?: () => Radio;
  /** Absent: the machine's. */
  readonly clock?: Clock;
}
