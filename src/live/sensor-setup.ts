import type { SpinReference } from '../shots/wrist/backspin.ts';
import type { SensorCorrection } from './sensor-correction.ts';

/** What is known of a sensor beside its own description, as plain data that can go to another thread. */
export interface SensorSetup {
  /** The calibration to apply; null where there is none. */
  readonly correction: SensorCorrection | null;
  /** When it was made, seconds since the Unix epoch. */
  readonly calibratedAtS: number | null;
  /** Reference shots for the backspin of the player who wears it, at whatever mount; none where nobody is known. */
  readonly spinReferences: readonly SpinReference[];
}

export const noSetup: SensorSetup = Object.freeze({ correction: null, calibratedAtS: null, spinReferences: [] });
