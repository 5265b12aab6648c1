import type { OpenedFile } from '../../sessions/recording-file.ts';
import { UnreadableRecordingError } from '../../sessions/unreadable.ts';

/** Rates that the ball analysis takes, as its own check has them. */
const slowestHz = 20;
const fastestHz = 5000;

/** @throws UnreadableRecordingError `recording-rate` for a recording that the analysis would refuse to start with. */
export function refuseRate(file: OpenedFile, rateHz: number, remedy: string): void {
  if (rateHz >= slowestHz && rateHz <= fastestHz) return;
  throw new UnreadableRecordingError('recording-rate', {
    where: file.path,
    expected: `${slowestHz} to ${fastestHz} samples a second (100 or more for good timing)`,
    came: `${rateHz.toPrecision(3)} a second, ${(1 / rateHz).toPrecision(3)} s apart`,
    remedy,
  });
}
