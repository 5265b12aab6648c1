import type { ShotMeasureName } from './shot.ts';

/** Which sensor can know a measure; `arm-modelled`: the ball measures it, the arm has a model of it. */
export const measureSensors = ['ball', 'arm', 'both', 'arm-modelled'] as const;
export type MeasureSensors = (typeof measureSensors)[number];

/** What a measure is, for people who work with the numbers. */
export interface MeasureDefinition {
  readonly unit: string;
  readonly definition: string;
  /** How a sensor in the ball and one on the arm come to it, as far as they do. */
  readonly method: string;
  /** What makes it doubtful, or missing. */
  readonly limits: string;
  readonly sensors: MeasureSensors;
  /** What not to make of it. */
  readonly caution?: string;
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
    limits: 'A packet lost at pickup or release; a pickup that no blow marks. Is not compared across kinds of start.',
    sensors: 'both',
    caution: 'Faster is not better by itself: a time that a player forces costs the shot.',
    validRange: [0, 10],
  },
  liftToReleaseS: {
    unit: 's',
    definition:
      'From the lift, the last instant within 1 cm of the lowest height between pickup and release, to release. The one time that is compared across kinds of start.',
    method: fromPath,
    limits: 'A flat lowest point puts the lift off by some hundredths of a second; the error says so.',
    sensors: 'both',
    validRange: [0, 10],
  },
  pauseS: {
    unit: 's',
    definition: 'Longest unbroken time between pickup and release with a vertical speed below 0.3 m/s in size.',
    method: fromPath,
    limits: 'A ball that rises at about 0.3 m/s for long is a pause or none within the doubt of its path.',
    sensors: 'both',
    validRange: [0, 10],
  },
  dipDepthM: {
    unit: 'm',
    definition: 'Drop of the ball (sensor on the arm: of the wrist) from pickup to lift.',
    method: fromPath,
    limits: 'The path is integrated: its doubt grows with the time from the dip to release. From a hold there is none.',
    sensors: 'both',
    validRange: [-0.1, 1.5],
  },
  sidePathM: {
    unit: 'm',
    definition:
      "Largest distance, between pickup and release, from the vertical plane of launch through the point of release; positive to the shooter's left.",
    method: fromPath,
    limits:
      'The bias of the accelerometer, and the doubt of the direction of launch. Where the ball swings out as far to either side, the side is not told.',
    sensors: 'both',
    caution: "Sideways means sideways of the ball's own flight, not of the ring: where the ring stands is not known.",
    validRange: [-1.5, 1.5],
  },
  flightS: {
    unit: 's',
    definition: 'From release to the first contact.',
    method: 'ends of the free flight, sharpened below one sample',
    limits: 'A net that is brushed softly, a packet lost at release or contact.',
    sensors: 'ball',
    validRange: [0.1, 4],
  },
  spinRps: {
    unit: 'rev/s',
    definition: 'Size of the spin at release.',
    method: fromFlight,
    limits: 'Below 0.3 rev/s and beyond the range of the gyroscope it is doubtful or missing.',
    sensors: 'ball',
    validRange: [0, 10],
  },
  backspinRps: {
    unit: 'rev/s',
    definition:
      'Part of the spin about the level axis across the launch; positive where the top of the ball moves back.',
    method: `${fromFlight}; from the arm by a model of the snap with a wide interval until it is calibrated for the player`,
    limits:
      'Needs the direction of launch. From the arm it is a model: wide until about ten shots of the player are known from elsewhere.',
    sensors: 'arm-modelled',
    caution: 'More is not better by itself; no number here says which spin is right for a player.',
    validRange: [-10, 10],
  },
  sidespinRps: {
    unit: 'rev/s',
    definition: 'Part of the spin about the vertical; positive counter-clockwise seen from above.',
    method: fromFlight,
    limits:
      "Needs gravity's direction in flight: flights under 0.7 s and strong rifle spin have errors several times larger.",
    sensors: 'ball',
    validRange: [-10, 10],
  },
  rifleSpinRps: {
    unit: 'rev/s',
    definition: 'Part of the spin about the level direction of launch; positive clockwise seen from behind.',
    method: fromFlight,
    limits: 'Needs the direction of launch: short flights have errors several times larger.',
    sensors: 'ball',
    validRange: [-10, 10],
  },
  axisTiltDeg: {
    unit: 'deg',
    definition:
      "Lean of the spin axis, atan2(sidespin, backspin): 0 is pure backspin, positive drifts to the shooter's left; not given beyond ±80°.",
    method: `${fromFlight}; from the arm by the turning of the hand at release`,
    limits:
      'Little spin, short flights and strong rifle spin make it doubtful. From the arm it is the turning of the hand, not of the ball.',
    sensors: 'both',
    validRange: [-80, 80],
  },
  launchSpeedMps: {
    unit: 'm/s',
    definition: "Speed of the ball's centre at release.",
    method: fromFlight,
    limits: 'Rests on the drag that the ball feels: flights under 0.7 s have errors several times larger.',
    sensors: 'ball',
    validRange: [1, 20],
  },
  launchAngleDeg: {
    unit: 'deg',
    definition: "Direction of the ball's centre at release, above level.",
    method: fromFlight,
    limits: "Rests on gravity's direction in flight: short flights have errors several times larger.",
    sensors: 'ball',
    caution: 'No angle here is named right or wrong: what suits depends on speed, height and distance.',
    validRange: [-90, 90],
  },
  entryAngleDeg: {
    unit: 'deg',
    definition:
      'Direction, below level, in which the falling centre of the ball passes the height of the ring; carried on where contact came earlier.',
    method: `${fromFlight}; height of the ring from the contact or from the settings`,
    limits:
      'Needs the height of the ring above release: from what the ball touched, which may be taken for another thing, or from the settings.',
    sensors: 'ball',
    validRange: [0, 90],
  },
  apexM: {
    unit: 'm',
    definition: 'Highest point of the flight above the point of release.',
    method: fromFlight,
    limits: 'As good as launch speed and angle.',
    sensors: 'ball',
    validRange: [0, 10],
  },
  speedMarginMps: {
    unit: 'm/s',
    definition: 'Launch speed less the least speed, drag included, that reaches the ring from there.',
    method: `${fromFlight}; needs the distance from the settings`,
    limits: 'Needs the distance, which is told to about 0.3 m.',
    sensors: 'ball',
    validRange: [-10, 10],
  },
  contactHardnessMps: {
    unit: 'm/s',
    definition: 'Impulse of the first contact per unit of mass: how much it changed the velocity.',
    method: 'force on the ball summed over the contact',
    limits: 'A hard blow goes beyond the range of most accelerometers: it is then larger than told.',
    sensors: 'ball',
    validRange: [0, 30],
  },
  sidewaysImpulseMps: {
    unit: 'm/s',
    definition:
      "Push across the launch in the last 80 ms before release, per unit of mass; positive to the shooter's left.",
    method: fromPath,
    limits: 'The bias of the accelerometer and the doubt of the direction of launch.',
    sensors: 'ball',
    validRange: [-5, 5],
  },
  spinBeforeLiftRps: {
    unit: 'rev/s',
    definition: 'Mean size of the turning of the ball over the last 0.1 s before the lift.',
    method: 'gyroscope, its bias and scale corrected',
    limits: 'Needs a lift that was seen.',
    sensors: 'ball',
    validRange: [0, 10],
  },
  snapPeakDegps: {
    unit: 'deg/s',
    definition: "Largest local peak of the sensor's rate of turn from 0.1 s before to 0.15 s after release.",
    method: 'gyroscope on forearm or hand',
    limits: 'Beyond the range of the gyroscope it is larger than told; a loose strap adds to it.',
    sensors: 'arm',
    caution: 'A harder snap is not better by itself, and hurts a wrist that is not used to it.',
    validRange: [0, 4000],
  },
  snapToReleaseS: {
    unit: 's',
    definition: 'Time of that peak before release; negative where it comes after.',
    method: 'gyroscope on forearm or hand',
    limits: 'The time of release from the arm is off by several milliseconds.',
    sensors: 'arm',
    validRange: [-0.15, 0.1],
  },
  forearmElevationDeg: {
    unit: 'deg',
    definition: 'Direction of the line from elbow to wrist above level, at release.',
    method: fromArm,
    limits: 'Not told before the forearm was turned to and fro at the start; a strap that slips spoils it.',
    sensors: 'arm',
    validRange: [-90, 90],
  },
  pathPlanarity: {
    unit: '1',
    definition:
      'RMS distance of the path of the wrist, lift to release, from its best vertical plane, over its length.',
    method: fromPath,
    limits: 'The path is integrated: drift looks like a path off its plane.',
    sensors: 'arm',
    validRange: [0, 1],
  },
  followThroughS: {
    unit: 's',
    definition: 'From release until the forearm turns faster than 60 °/s again, on the way down.',
    method: fromArm,
    limits: 'An arm that comes down slowly has no sharp end.',
    sensors: 'arm',
    validRange: [0, 10],
  },
  headingChangeDeg: {
    unit: 'deg',
    definition: "Turn of the forearm about the vertical between take-off and landing; positive to the shooter's left.",
    method: fromArm,
    limits: 'Needs a landing that shows; drift of the gyroscope over the jump.',
    sensors: 'arm',
    validRange: [-360, 360],
  },
};
