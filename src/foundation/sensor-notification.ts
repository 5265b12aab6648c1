/** One notification of one sensor exactly as it came, with the host's time of receipt: the unit that is stored and replayed. */
export interface SensorNotification {
  readonly sensorId: string;
  readonly bytes: Uint8Array;
  /** Time of receipt on the host's clock, seconds since the Unix epoch. */
  readonly hostTimeS: number;
}
