/** Effects of the ball, the air and the hands that a simple flight fit does not model. */
export interface PhysicsSwitches {
  /** Drag and lift coefficients change with speed and spin. */
  readonly variableDrag: boolean;
  /** Principal moments differ by a few per cent: the ball nutates. */
  readonly unequalInertia: boolean;
  /** The air carries 1.4 % of the ball's weight. */
  readonly buoyancy: boolean;
  /** Hands meet the ball softly, the force growing over 5 to 60 ms. */
  readonly softHands: boolean;
}

/** Effects of the sensor that a simple sensor model does not have. */
export interface SensorSwitches {
  /** Both biases wander: random walk of 0.01 m/s² and 0.05 °/s per square root of second. */
  readonly biasDrift: boolean;
  /** The gyroscope answers acceleration: 0.1 °/s per g (one standard deviation) on each of nine ways. */
  readonly gyroAccelSensitivity: boolean;
  /** Slow noise beside the white: 0.02 m/s² and 0.1 °/s with a correlation time of 0.3 s. */
  readonly colouredNoise: boolean;
  /** Something loose ticks inside after shocks and now and then in flight. */
  readonly rattle: boolean;
}

export type Switches = PhysicsSwitches & SensorSwitches;
export type SwitchName = keyof Switches;

export const switchNames = [
  'variableDrag',
  'unequalInertia',
  'buoyancy',
  'softHands',
  'biasDrift',
  'gyroAccelSensitivity',
  'colouredNoise',
  'rattle',
] as const satisfies readonly SwitchName[];

/** Every switch off but those named. */
export function switchesOn(...names: readonly SwitchName[]): Switches {
  const on = (name: SwitchName) => names.includes(name);
  return {
    variableDrag: on('variableDrag'),
    unequalInertia: on('unequalInertia'),
    buoyancy: on('buoyancy'),
    softHands: on('softHands'),
    biasDrift: on('biasDrift'),
    gyroAccelSensitivity: on('gyroAccelSensitivity'),
    colouredNoise: on('colouredNoise'),
    rattle: on('rattle'),
  };
}
