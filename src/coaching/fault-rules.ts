import type { BandedMeasure } from './bands.ts';
import type { FaultName } from './fault-names.ts';

/** Where a sensor can sit. */
export type SensorPlace = 'ball' | 'forearm' | 'back-of-hand';

/** One thing that a rule looks at. */
export type RulePart =
  /** The level of a measure beyond an end of its band. */
  | {
      readonly kind: 'level';
      readonly measure: BandedMeasure;
      readonly side: 'above' | 'below' | 'either';
      /** What this other measure lies above the player's own level of it is taken off. */
      readonly less?: BandedMeasure;
      /** So much beyond the ends of the band. */
      readonly beyond?: number;
    }
  /** The level in one group of shots less that in the others, beyond `edge` in the measure's unit. */
  | {
      readonly kind: 'contrast';
      readonly measure: BandedMeasure;
      readonly group: 'from-hold' | 'far';
      readonly side: 'above' | 'below' | 'either';
      readonly edge: number;
    }
  /** Change over 50 shots beyond `edge` in the measure's unit. */
  | {
      readonly kind: 'drift';
      readonly measure: BandedMeasure;
      readonly side: 'above' | 'below' | 'either';
      readonly edge: number;
    };

export interface FaultRule {
  readonly name: FaultName;
  /** For the player, plain. */
  readonly words: string;
  /** Every part has to be beyond its edge (`all`), or one is enough (`any`). */
  readonly needs: 'all' | 'any';
  readonly parts: readonly RulePart[];
  /** Not named while one of these other faults explains the same numbers better. */
  readonly unless?: readonly FaultName[];
  /** What has to hold as well for it to be named all the same. */
  readonly evenThen?: RulePart;
  /** Another explanation that no sensor sees counts like one that is spoken for. */
  readonly unseenExplains?: true;
  /** What each sensor can tell of it; null: nothing. */
  readonly sensors: Readonly<Record<SensorPlace, string | null>>;
  /**
   * Change of the first part's measure, away from the player's own level, that a sensor can tell within 15 shots, where that is more than
   * what the band lets pass: about the band's half width, what the sensor's common error adds to it, and two spreads from shot to shot as an
   * arm's sensor sees them, which is where the rules have their stated power; a ball's needs less. Contrasts, of half the shots each, need
   * three spreads beyond their edge. Held by the proof of the loop.
   */
  readonly from?: Readonly<Partial<Record<SensorPlace, number>>>;
  /** The same beside a sensor in the ball, which sees what else it could be. */
  readonly fromBesideBall?: Readonly<Partial<Record<SensorPlace, number>>>;
  /** Change beyond which a sensor mostly takes the first part's measure for something else, and does not tell it. */
  readonly upTo?: Readonly<Partial<Record<SensorPlace, number>>>;
  /** Sensors that tell of it now and then, and mostly know too little. */
  readonly seldom?: readonly SensorPlace[];
  /** Below this value of the first part's measure a sensor often finds no shot at all. */
  readonly noShotBelow?: Readonly<Partial<Record<SensorPlace, number>>>;
  readonly otherExplanations: readonly string[];
  readonly source: string;
}

const noSource = 'common practice, no source';

/** The rules. Edges of levels are the player's bands; those of contrasts and drifts stand here. */
export const faultRules: readonly FaultRule[] = [
  {
    name: 'off-hand-push',
    words: 'The other hand pushes the ball to the side as it leaves.',
    needs: 'all',
    parts: [
      { kind: 'level', measure: 'axisTiltDeg', side: 'either' },
      { kind: 'level', measure: 'sidewaysImpulseMps', side: 'either' },
    ],
    sensors: {
      ball: 'sees the leaning spin and the push to the side at release',
      forearm: null,
      'back-of-hand': null,
    },
    from: { ball: 10 },
    otherExplanations: [
      'a shooting hand that comes from the side pushes sideways too',
      'a ball with a sensor far off its middle',
    ],
    source: 'sidespin from the guiding hand or a twist of the fingers: FIBA coaching material, level 2, 2.5.7',
  },
  {
    name: 'side-flick',
    words: 'The ball does not leave index and middle finger last: the wrist goes to one side, and the spin leans.',
    needs: 'any',
    parts: [{ kind: 'level', measure: 'axisTiltDeg', side: 'either' }],
    unless: ['off-hand-push'],
    sensors: {
      ball: 'sees the lean of the spin, and whether a push to the side went with it',
      forearm: null,
      'back-of-hand': 'sees the hand turn; cannot tell it from a push of the other hand',
    },
    from: { 'back-of-hand': 14 },
    otherExplanations: [
      'the other hand brushing the ball',
      'an off-centre grip on a worn or wet ball',
      'a sensor that has slipped on the hand',
    ],
    source: 'tilt of the axis goes with finger orientation and twist (Carniglia and Slegers 2024, R² .63)',
  },
  {
    name: 'low-finish',
    words: 'The arm finishes low: the elbow stays below the brow.',
    needs: 'any',
    parts: [{ kind: 'level', measure: 'forearmElevationDeg', side: 'below' }],
    sensors: {
      ball: null,
      forearm: 'sees how steep the forearm stands at release, not the elbow itself',
      'back-of-hand': null,
    },
    from: { forearm: 25 },
    otherExplanations: [
      'a sensor that turned on the arm',
      'a shoulder that does not go higher: never force it, and see a clinician where it hurts',
    ],
    source: noSource,
  },
  {
    name: 'hard-flat-touch',
    words: 'The ball comes in hard and flat.',
    needs: 'any',
    parts: [
      { kind: 'level', measure: 'speedMarginMps', side: 'above' },
      { kind: 'level', measure: 'entryAngleDeg', side: 'below' },
    ],
    sensors: {
      ball: 'sees speed and arc; the speed to spare needs the distance, the way in needs the height of the ring',
      forearm: null,
      'back-of-hand': null,
    },
    from: { ball: 0.7 },
    otherExplanations: ['a distance or ring height that is set wrong', 'a shot that was meant for the board'],
    source: 'least speed to the ring: Brancazio 1981, Am. J. Phys. 49:356',
  },
  {
    name: 'weak-backspin',
    words: 'The ball turns backward too little to be soft on the ring.',
    needs: 'any',
    parts: [{ kind: 'level', measure: 'backspinRps', side: 'below' }],
    sensors: {
      ball: 'measures it',
      forearm: 'only after reference shots of this player, and only as far as the whole arm snaps less',
      'back-of-hand': 'only after reference shots of this player',
    },
    seldom: ['forearm'],
    otherExplanations: ['a ball too large for the hand', 'a ball with little grip', 'cold hands'],
    source: noSource,
  },
  {
    name: 'slow-pickup',
    words: 'From pickup to release it takes long.',
    needs: 'any',
    parts: [{ kind: 'level', measure: 'pickupToReleaseS', side: 'above' }],
    sensors: { ball: 'measures it', forearm: 'measures it, less exactly', 'back-of-hand': 'measures it, less exactly' },
    unless: ['two-part'],
    evenThen: { kind: 'level', measure: 'pickupToReleaseS', side: 'above', less: 'pauseS' },
    from: { ball: 0.2, forearm: 0.3, 'back-of-hand': 0.3 },
    upTo: { forearm: 0.5, 'back-of-hand': 0.5 },
    otherExplanations: ['no hurry: an open shot in practice', 'a weak pass that had to be gathered'],
    source: noSource,
  },
  {
    name: 'two-part',
    words: 'The ball stops on its way up: two motions instead of one rise.',
    needs: 'any',
    parts: [{ kind: 'level', measure: 'pauseS', side: 'above' }],
    sensors: { ball: 'measures it', forearm: 'measures it, less exactly', 'back-of-hand': 'measures it, less exactly' },
    from: { ball: 0.12, forearm: 0.35 },
    seldom: ['back-of-hand'],
    otherExplanations: ['waiting for a defender or a signal', 'a set point that is held on purpose'],
    source: noSource,
  },
  {
    name: 'across-body',
    words: 'The ball is picked up across the body and swings to the shooting side.',
    needs: 'any',
    parts: [{ kind: 'level', measure: 'sidePathM', side: 'either' }],
    sensors: {
      ball: 'sees how far the ball swings beside the line of the shot, to about a hand’s width',
      forearm: 'sees the same of the wrist',
      'back-of-hand': 'sees the same of the wrist',
    },
    from: { ball: 0.35, forearm: 0.45 },
    seldom: ['back-of-hand'],
    otherExplanations: ['a pass or dribble that arrived wide', 'a step to the side into the shot'],
    source: noSource,
  },
  {
    name: 'deep-dip',
    words: 'The ball drops deep before it goes up: below the navel it costs time.',
    needs: 'any',
    parts: [{ kind: 'level', measure: 'dipDepthM', side: 'above' }],
    sensors: {
      ball: 'measures it',
      forearm: 'measures the drop of the wrist',
      'back-of-hand': 'measures the drop of the wrist',
    },
    from: { ball: 0.24, forearm: 0.4, 'back-of-hand': 0.4 },
    otherExplanations: [
      'a high pass has farther to come down',
      'a dip may help: in one study 7 to 9 % more went in with it (Penner 2021), though slower',
    ],
    source: noSource,
  },
  {
    name: 'short-follow-through',
    words: 'The hand comes down at once after the release.',
    needs: 'any',
    parts: [{ kind: 'level', measure: 'followThroughS', side: 'below' }],
    sensors: {
      ball: null,
      forearm: 'measures how long the forearm stays up',
      'back-of-hand': null,
    },
    noShotBelow: { forearm: 0.15 },
    otherExplanations: ['getting back on defence or after the rebound', 'a tired or sore shoulder'],
    source: noSource,
  },
  {
    name: 'turn-in-air',
    words: 'The body turns between take-off and landing.',
    needs: 'any',
    parts: [{ kind: 'level', measure: 'headingChangeDeg', side: 'either' }],
    // With another spin the forearm rolls over otherwise, by 20 to 40 degrees.
    unless: ['side-flick', 'weak-backspin'],
    unseenExplains: true,
    evenThen: { kind: 'level', measure: 'headingChangeDeg', side: 'either', beyond: 25 },
    sensors: {
      ball: null,
      forearm:
        'sees the arm turn about the vertical where it feels the landing; a stance that is turned from the start is not meant and not seen',
      'back-of-hand': null,
    },
    from: { forearm: 75 },
    fromBesideBall: { forearm: 45 },
    otherExplanations: [
      'a forearm that rolls over after the release, which on a steep arm cannot be told from a turn',
      'an arm that swings down to one side',
      'a shot on the run',
    ],
    source: noSource,
  },
  {
    name: 'off-line-push',
    words: 'The way of the hand leaves one line: leaning back, or pushing with the whole arm.',
    needs: 'any',
    parts: [{ kind: 'level', measure: 'pathPlanarity', side: 'above' }],
    sensors: {
      ball: null,
      forearm:
        'sees how far the way of the wrist leaves one upright plane; a way with a wide loop in it is no shot to it',
      'back-of-hand':
        'sees how far the way of the wrist leaves one upright plane; a way with a wide loop in it is no shot to it',
    },
    seldom: ['forearm', 'back-of-hand'],
    otherExplanations: ['a ring too high or a ball too heavy for the age', 'a spot too far out', 'a loose strap'],
    source: noSource,
  },
  {
    name: 'uneven-starts',
    words: 'Free throws and other shots from a hold are not the shot that is taken in play.',
    needs: 'any',
    parts: [{ kind: 'contrast', measure: 'liftToReleaseS', group: 'from-hold', side: 'either', edge: 0.08 }],
    sensors: {
      ball: 'sees it',
      forearm: 'sees it where the lowest point of a hold is clear, which it seldom is',
      'back-of-hand': 'sees it where the lowest point of a hold is clear, which it seldom is',
    },
    from: { ball: 0.23 },
    seldom: ['forearm', 'back-of-hand'],
    otherExplanations: ['different distances in the two', 'more time on purpose at the line'],
    source: noSource,
  },
  {
    name: 'tired-drift',
    words: 'As the session goes on, the arc goes flat: the legs give less.',
    needs: 'any',
    parts: [
      { kind: 'drift', measure: 'launchAngleDeg', side: 'below', edge: 1.5 },
      { kind: 'drift', measure: 'forearmElevationDeg', side: 'below', edge: 5 },
    ],
    sensors: {
      ball: 'sees the arc change over the session',
      forearm: 'sees the finish change over the session',
      'back-of-hand': null,
    },
    otherExplanations: [
      'moving farther out during the session',
      'another ball',
      'a sensor that drifts with its battery or warmth',
    ],
    source: 'arc falls with fatigue in some studies (Bourdas 2024, Sports 12:63) and not in others (Slawinski 2018)',
  },
  {
    name: 'out-of-range',
    words: 'Beyond a distance the shot becomes another shot.',
    needs: 'any',
    parts: [
      { kind: 'contrast', measure: 'liftToReleaseS', group: 'far', side: 'either', edge: 0.08 },
      { kind: 'contrast', measure: 'axisTiltDeg', group: 'far', side: 'either', edge: 5 },
    ],
    sensors: {
      ball: 'sees it where distances are told',
      forearm: 'sees the time where distances are told',
      'back-of-hand': 'sees time and tilt where distances are told',
    },
    from: { ball: 0.23, forearm: 0.25, 'back-of-hand': 0.3 },
    otherExplanations: ['other starts from far than from near', 'tired when the far shots came'],
    source: noSource,
  },
];

export function ruleOf(name: FaultName): FaultRule {
  return faultRules.find((rule) => rule.name === name)!;
}
