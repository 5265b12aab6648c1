import type { SensorTraits } from '../../foundation/imu-block.ts';
import type { RecordingWarning } from '../../sessions/unreadable.ts';

/** What is known of the delay of a CSV recording's times. */
export interface FilterDelay {
  /** Standard error of every absolute time, s. */
  readonly doubtS: number;
  readonly warnings: readonly RecordingWarning[];
}

/**
 * Where nobody told the delay, times are taken as they stand and this share of a sample is their doubt: a low-pass at 0.2
 * to 0.5 of the rate, as the datasheets of inertial sensors have them, delays by 0.45 to 1.1 samples; the tail that it
 * leaves of a force that ends makes a release later still; and some loggers take the delay out of their times. That is
 * the root mean square of an even spread from 0 to 1.5. The recording cannot tell: noise that comes in behind the filter
 * stays white, and the tremble of a hand looks like filtered noise.
 */
const untoldSamples = 1.5 / Math.sqrt(3);
/** A delay below this was probably given in seconds; the filter of no common sensor is that quick. */
const doubtfulS = 0.05e-3;

/**
 * @param toldS the delay that the person stated, s; null when nothing was said.
 */
export function readFilterDelay(toldS: number | null, traits: SensorTraits | null): FilterDelay {
  if (toldS !== null) {
    if (toldS === 0 || toldS >= doubtfulS) return { doubtS: 0, warnings: [] };
    const message = `--filter-delay ${toldS * 1000} is ${(toldS * 1e6).toPrecision(3)} microseconds; expected milliseconds, such as 2.5: if seconds were meant, say --filter-delay ${(toldS * 1e6).toPrecision(3)}`;
    return { doubtS: 0, warnings: [{ code: 'filter-delay-suspect', message }] };
  }
  if (!traits) return { doubtS: 0, warnings: [] };
  const doubtS = untoldSamples / traits.nominalRateHz;
  const message = `the delay of the sensor's own filter was not told, so all times may be late alike; their errors hold ${(1000 * doubtS).toPrecision(2)} ms for it. Say it with --filter-delay, from the sensor's datasheet (0 if the times are free of it)`;
  return { doubtS, warnings: [{ code: 'filter-delay-unknown', message }] };
}
