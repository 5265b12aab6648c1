import type { ShotMeasureName } from './shot.ts';

/** What a measure is, for people who work with the numbers. */
export interface MeasureDefinition {
  readonly unit: string;
  readonly definition: string;
  /** How a sensor in the ball and one on the arm come to it, as far as they do. */
  readonly method: string;
  /** Values outside cannot be: they point to a fault of sensor or settings. */
  readonly validRange: readonly [number, number];
}

const fromFlight =
  'fit of a flight model (gravity, drag, lift, spin) to the readings in the ball between release and first contact';
const fromPath = 'readings integrated backward from release (ball) or between still moments (arm)';
const fromArm = 'attitude of the sensor on forearm or hand';

/** Every measure of a shot. The room frame: x level in the direction of launch, y to the shooter's left, z up. */
export const measureDefinitions: Readonly<Record<ShotMeasureName, MeasureDefinition>> = {
  pickupToReleaseS: {
    unit: 's',
    definition:
      'From pickup to release. Pickup: the hand meets the ball (dribble, catch); from a hold the last instant of rest in height (under 0.1 m/s) more than 0.6 m below the height of release.',
    method: `${fromPath}; ends sharpened below one sample`,
    validRange: [0, 10],
  },
  liftToReleaseS: {
    unit: 's',
    definition:
      'From the lift, the last instant within 1 cm of the lowest height between pickup and release, to release. The one time that is compared across kinds of start.',
    method: fromPath,
    validRange: [0, 10],
  },
  pauseS: {
    unit: 's',
    definition: 'Longest unbroken time between pickup and release with a vertical speed below 0.3 m/s in size.',
    method: fromPath,
    validRange: [0, 10],
  },
  dipDepthM: {
    unit: 'm',
    definition: 'Drop of the ball (sensor on the arm: of the wrist) from pickup to lift.',
    method: fromPath,
    validRange: [-0.1, 1.5],
  },
  sidePathM: {
    unit: 'm',
    definition:
      "Largest distance, between pickup and release, from the vertical plane of launch through the point of release; positive to the shooter's left.",
    method: fromPath,
    validRange: [-1.5, 1.5],
  },
  flightS: {
    unit: 's',
    definition: 'From release to the first contact.',
    method: 'ends of the free flight, sharpened below one sample',
    validRange: [0.1, 4],
  },
  spinRps: {
    unit: 'rev/s',
    definition: 'Size of the spin at release.',
    method: fromFlight,
    validRange: [0, 10],
  },
  backspinRps: {
    unit: 'rev/s',
    definition:
      'Part of the spin about the level axis across the launch; positive where the top of the ball moves back.',
    method: `${fromFlight}; from the arm by a model of the snap with a wide interval until it is calibrated for the player`,
    validRange: [-10, 10],
  },
  sidespinRps: {
    unit: 'rev/s',
    definition: 'Part of the spin about the vertical; positive counter-clockwise seen from above.',
    method: fromFlight,
    validRange: [-10, 10],
  },
  rifleSpinRps: {
    unit: 'rev/s',
    definition: 'Part of the spin about the level direction of launch; positive clockwise seen from behind.',
    method: fromFlight,
    validRange: [-10, 10],
  },
  axisTiltDeg: {
    unit: 'deg',
    definition:
      "Lean of the spin axis, atan2(sidespin, backspin): 0 is pure backspin, positive drifts to the shooter's left; not given beyond ±80°.",
    method: `${fromFlight}; from the arm by the turning of the hand at release`,
    validRange: [-80, 80],
  },
  launchSpeedMps: {
    unit: 'm/s',
    definition: "Speed of the ball's centre at release.",
    method: fromFlight,
    validRange: [1, 20],
  },
  launchAngleDeg: {
    unit: 'deg',
    definition: "Direction of the ball's centre at release, above level.",
    method: fromFlight,
    validRange: [-90, 90],
  },
  entryAngleDeg: {
    unit: 'deg',
    definition:
      'Direction, below level, in which the falling centre of the ball passes the height of the ring; carried on where contact came earlier.',
    method: `${fromFlight}; height of the ring from the contact or from the settings`,
    validRange: [0, 90],
  },
  apexM: {
    unit: 'm',
    definition: 'Highest point of the flight above the point of release.',
    method: fromFlight,
    validRange: [0, 10],
  },
  speedMarginMps: {
    unit: 'm/s',
    definition: 'Launch speed less the least speed, drag included, that reaches the ring from there.',
    method: `${fromFlight}; needs the distance from the settings`,
    validRange: [-10, 10],
  },
  contactHardnessMps: {
    unit: 'm/s',
    definition: 'Impulse of the first contact per unit of mass: how much it changed the velocity.',
    method: 'force on the ball summed over the contact',
    validRange: [0, 30],
  },
  sidewaysImpulseMps: {
    unit: 'm/s',
    definition:
      "Push across the launch in the last 80 ms before release, per unit of mass; positive to the shooter's left.",
    method: fromPath,
    validRange: [-5, 5],
  },
  spinBeforeLiftRps: {
    unit: 'rev/s',
    definition: 'Mean size of the turning of the ball over the last 0.1 s before the lift.',
    method: 'gyroscope, its bias and scale corrected',
    validRange: [0, 10],
  },
  snapPeakDegps: {
    unit: 'deg/s',
    definition: "Largest local peak of the sensor's rate of turn from 0.1 s before to 0.15 s after release.",
    method: 'gyroscope on forearm or hand',
    validRange: [0, 4000],
  },
  snapToReleaseS: {
    unit: 's',
    definition: 'Time of that peak before release; negative where it comes after.',
    method: 'gyroscope on forearm or hand',
    validRange: [-0.15, 0.1],
  },
  forearmElevationDeg: {
    unit: 'deg',
    definition: 'Direction of the line from elbow to wrist above level, at release.',
    method: fromArm,
    validRange: [-90, 90],
  },
  pathPlanarity: {
    unit: '1',
    definition:
      'RMS distance of the path of the wrist, lift to release, from its best vertical plane, over its length.',
    method: fromPath,
    validRange: [0, 1],
  },
  followThroughS: {
    unit: 's',
    definition: 'From release until the forearm turns faster than 60 °/s again, on the way down.',
    method: fromArm,
    validRange: [0, 10],
  },
  headingChangeDeg: {
    unit: 'deg',
    definition: "Turn of the forearm about the vertical between take-off and landing; positive to the shooter's left.",
    method: fromArm,
    validRange: [-360, 360],
  },
};
