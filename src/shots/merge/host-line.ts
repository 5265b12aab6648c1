/** Host time as a line over one sensor's recording time, as the sensor clock estimates it. */
export interface HostLine {
  readonly referenceS: number;
  /** Host time at recording time `referenceS`. */
  readonly hostTimeS: number;
  readonly hostTimeStandardErrorS: number;
  /** Seconds the host's clock gains on the sensor's, in ppm. */
  readonly driftPpm: number;
  readonly driftStandardErrorPpm: number;
}

/** A line that is the recording time itself: sensors on one clock. */
export const sameClock: HostLine = Object.freeze({
  referenceS: 0,
  hostTimeS: 0,
  hostTimeStandardErrorS: 0,
  driftPpm: 0,
  driftStandardErrorPpm: 0,
});

/** @returns host time of a recording time, with the standard error of the line there. */
export function toHost(line: HostLine, recordingS: number): { hostS: number; standardErrorS: number } {
  const sinceS = recordingS - line.referenceS;
  return {
    hostS: line.hostTimeS + sinceS * (1 + line.driftPpm * 1e-6),
    standardErrorS: Math.hypot(line.hostTimeStandardErrorS, sinceS * line.driftStandardErrorPpm * 1e-6),
  };
}

/** @returns recording time of a host time. */
export function fromHost(line: HostLine, hostS: number): number {
  return line.referenceS + (hostS - line.hostTimeS) / (1 + line.driftPpm * 1e-6);
}
