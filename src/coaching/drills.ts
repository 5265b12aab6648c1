import type { ShotMeasureName } from '../shots/shot.ts';
import type { FaultName } from './fault-names.ts';

/** A drill as a coach reads it. Own ones of a coach have the same form. */
export interface Drill {
  readonly name: string;
  readonly title: string;
  readonly forFaults: readonly FaultName[];
  readonly purpose: string;
  readonly setUp: string;
  readonly steps: readonly string[];
  /** Sets and shots; the day's limit of the player goes before it. */
  readonly dose: { readonly sets: number; readonly shotsASet: number; readonly daysAWeek: number };
  readonly progressions: readonly string[];
  readonly fromAge: number;
  readonly cautions: readonly string[];
  /** What should move, to which side, and by how much at least for it to matter, in the measure's unit. */
  readonly moves: { readonly measure: ShotMeasureName; readonly side: 'less' | 'more'; readonly by: number };
  readonly source: string;
}

const noSource = 'common practice, no source';
const pain = 'Stop at pain in shoulder, elbow, wrist or knee.';
const fresh = 'Shots of a drill count toward the load of the day.';

export const drillLibrary: readonly Drill[] = [
  {
    name: 'two-finger-release',
    title: 'Two fingers last',
    forFaults: ['side-flick'],
    purpose: 'The ball leaves index and middle finger last and turns straight backward.',
    setUp:
      'Lying on the back or standing two steps from a wall, a ball with a seam or a stripe, the shooting hand alone.',
    steps: [
      'Lay the ball on the finger pads, thumb wide, the palm off the ball.',
      'Send it straight up an arm’s length with index and middle finger only.',
      'Watch the stripe: it should turn like a wheel that rolls back to you.',
      'Catch it, look where the two fingers point, and go on.',
    ],
    dose: { sets: 3, shotsASet: 12, daysAWeek: 3 },
    progressions: [
      'Higher, still alone with one hand',
      'Close to the ring, one hand',
      'Other hand added, held beside the ball',
    ],
    fromAge: 10,
    cautions: ['Above the face only as high as can be caught.', pain],
    moves: { measure: 'axisTiltDeg', side: 'less', by: 5 },
    source: noSource,
  },
  {
    name: 'roll-it-off',
    title: 'Roll it off the fingers',
    forFaults: ['weak-backspin'],
    purpose: 'The ball turns backward by itself when the fingers stay on it to the last.',
    setUp: 'Standing, the shooting hand alone, a ball with a stripe, a wall three steps away for the second part.',
    steps: [
      'Send the ball a forearm’s length up with the fingers only; count its turns until it is back.',
      'Let the fingers point down when it has left; more turns come from longer touch, not from more force.',
      'From three steps send it so that it bounces once before the wall and comes back to you.',
    ],
    dose: { sets: 3, shotsASet: 12, daysAWeek: 3 },
    progressions: [
      'Close to the ring, one hand',
      'Both hands',
      'From the spot of the game, looking for the same turning',
    ],
    fromAge: 10,
    cautions: ['A smaller ball for a small hand.', pain],
    moves: { measure: 'backspinRps', side: 'more', by: 0.4 },
    source: noSource,
  },
  {
    name: 'ready-hands',
    title: 'Ready before the ball',
    forFaults: ['slow-pickup'],
    purpose: 'Less time from pickup to release, without hurry in the shot itself.',
    setUp: 'Close to the ring, a partner or a wall that gives the ball back.',
    steps: [
      'Knees bent and hands up before the ball arrives.',
      'Catch into the shooting pocket: no second grip, no look down.',
      'Go up with the catch. If the shot falls apart, come nearer, not slower.',
    ],
    dose: { sets: 3, shotsASet: 8, daysAWeek: 3 },
    progressions: ['Off a bounce pass', 'Off one dribble', 'Off a cut to the spot'],
    fromAge: 14,
    cautions: [fresh, pain],
    moves: { measure: 'pickupToReleaseS', side: 'less', by: 0.12 },
    source: noSource,
  },
  {
    name: 'quiet-other-hand',
    title: 'The other hand stays behind',
    forFaults: ['off-hand-push'],
    purpose: 'The other hand steadies the ball and leaves it before the push begins.',
    setUp: 'One long step from the ring; a coin or a folded card between thumb and palm of the other hand.',
    steps: [
      'Set the other hand beside the ball, thumb along the hand, holding the card.',
      'Shoot; the card must still be held when the ball lands.',
      'After the release the other palm faces where it faced before.',
    ],
    dose: { sets: 3, shotsASet: 10, daysAWeek: 3 },
    progressions: ['Open the other hand a moment before release', 'Free-throw line', 'Off one dribble'],
    fromAge: 12,
    cautions: [fresh, pain],
    moves: { measure: 'sidewaysImpulseMps', side: 'less', by: 0.15 },
    source: noSource,
  },
  {
    name: 'long-arm-snaps',
    title: 'Long-arm snaps',
    forFaults: ['low-finish', 'short-follow-through'],
    purpose: 'The arm ends long and high, the elbow above the brow, and stays there.',
    setUp: 'A step from the wall or the ring, the arm already nearly straight overhead with the ball on the hand.',
    steps: [
      'Start with the arm almost straight and the ball above the head.',
      'Snap the wrist only: the ball goes up and comes down close by.',
      'Leave the hand up until the ball has landed.',
      'Every few snaps start a hand’s width lower and end in the same place.',
    ],
    dose: { sets: 3, shotsASet: 10, daysAWeek: 3 },
    progressions: ['From the brow', 'From the chest, one step out', 'From the spot of the game'],
    fromAge: 12,
    cautions: ['Only as high as the shoulder goes without effort.', pain],
    moves: { measure: 'forearmElevationDeg', side: 'more', by: 8 },
    source: noSource,
  },
  {
    name: 'hold-the-picture',
    title: 'Hold the picture',
    forFaults: ['short-follow-through'],
    purpose: 'The hand stays up until the ball is down.',
    setUp: 'Close to the ring, any spot that feels easy.',
    steps: [
      'Shoot.',
      'Stay as you are, hand up, until the ball has touched the floor.',
      'Only then look at your own hand.',
    ],
    dose: { sets: 2, shotsASet: 10, daysAWeek: 3 },
    progressions: [
      'Farther out',
      'Off a catch',
      'With a partner who calls the next spot only when the hand is still up',
    ],
    fromAge: 6,
    cautions: [pain],
    moves: { measure: 'followThroughS', side: 'more', by: 0.2 },
    source: noSource,
  },
  {
    name: 'soft-high-board',
    title: 'Soft and high off the board',
    forFaults: ['hard-flat-touch'],
    purpose: 'The ball comes down softly from above.',
    setUp: 'Two steps from the ring at an angle, a mark high on the board above the square.',
    steps: [
      'Touch the board at the mark, high, so that the ball drops in.',
      'Listen: a soft sound is a good one.',
      'If it flies off the ring, send it higher, never harder.',
    ],
    dose: { sets: 3, shotsASet: 8, daysAWeek: 3 },
    progressions: [
      'Without the board from the same place',
      'One step back, as soft as before',
      'Eyes closed after release: say high or low',
    ],
    fromAge: 10,
    cautions: [fresh, pain],
    moves: { measure: 'speedMarginMps', side: 'less', by: 0.15 },
    source: noSource,
  },
  {
    name: 'up-at-once',
    title: 'Up at once',
    forFaults: ['two-part'],
    purpose: 'From pickup to release one rise without a stop.',
    setUp: 'Close to the ring, the ball on a low box or bounced from the own hand.',
    steps: [
      'Pick the ball up with knees bent and let ball and legs go up together.',
      'Say one long word from pickup to release: it must not break.',
      'If the ball stops at the chest or brow, begin nearer to the ring.',
    ],
    dose: { sets: 3, shotsASet: 10, daysAWeek: 3 },
    progressions: ['Off a soft pass', 'Off one dribble', 'From the spot of the game'],
    fromAge: 12,
    cautions: [fresh, pain],
    moves: { measure: 'pauseS', side: 'less', by: 0.06 },
    source: noSource,
  },
  {
    name: 'both-sides-pickup',
    title: 'From both sides to one pocket',
    forFaults: ['across-body'],
    purpose: 'The ball comes up on the shooting side, wherever the dribble ends.',
    setUp: 'Free space, then one step from the ring.',
    steps: [
      'Dribble twice on the shooting side, pick up on that side, shoot.',
      'Dribble twice on the other side, bring the ball over low and early, then up on the shooting side.',
      'The thumb of the shooting hand never passes the middle of the face.',
    ],
    dose: { sets: 4, shotsASet: 8, daysAWeek: 3 },
    progressions: ['At walking pace', 'Off a change of hands', 'With a partner pointing to the side'],
    fromAge: 10,
    cautions: [fresh, pain],
    moves: { measure: 'sidePathM', side: 'less', by: 0.1 },
    source: noSource,
  },
  {
    name: 'shallow-pocket',
    title: 'Shallow pocket',
    forFaults: ['deep-dip'],
    purpose: 'A small dip for rhythm, not below the navel.',
    setUp: 'Close to the ring, a belt or waistband as the mark.',
    steps: [
      'Catch at chest height.',
      'Let the ball sink a little, never past the belt, and rise with it.',
      'A partner says nothing but “low” when it sinks too far.',
    ],
    dose: { sets: 3, shotsASet: 8, daysAWeek: 3 },
    progressions: ['Off a bounce pass', 'Off a dribble', 'Farther out, with more from the legs'],
    fromAge: 14,
    cautions: ['A shallower dip may cost hits at first: one study found more hits with a dip.', pain],
    moves: { measure: 'dipDepthM', side: 'less', by: 0.1 },
    source: `${noSource}; hits with and without dip: Penner 2021, Front. Psychol. 658102`,
  },
  {
    name: 'drop-and-rise',
    title: 'Drop and rise',
    forFaults: ['turn-in-air', 'off-line-push'],
    purpose: 'Weight even on both legs, up and down in the same place, shoulders level.',
    setUp: 'A line on the floor or two strips of tape under the feet, no ball at first.',
    steps: [
      'Drop into the knees with the weight even on both feet.',
      'Rise and land on the two strips, turned neither way.',
      'The same with the ball, close to the ring, the hand going up over the line.',
    ],
    dose: { sets: 3, shotsASet: 8, daysAWeek: 3 },
    progressions: ['Feet turned a little, and landing turned as much', 'Off a step', 'Farther out'],
    fromAge: 8,
    cautions: ['Loading one hip goes with knee trouble: land on both legs, and see a clinician if a knee hurts.', pain],
    moves: { measure: 'headingChangeDeg', side: 'less', by: 10 },
    source: noSource,
  },
  {
    name: 'upright-line',
    title: 'Along the line',
    forFaults: ['off-line-push', 'side-flick'],
    purpose: 'The hand goes up on one line to the ring, without leaning back.',
    setUp:
      'A wall or goal post beside the shooting arm, a hand’s width away; a lower ring or lighter ball for the small.',
    steps: [
      'Stand beside the wall without touching it.',
      'Send the ball up along the wall; arm and ball touch nothing.',
      'If you lean back, come nearer to the ring.',
    ],
    dose: { sets: 3, shotsASet: 8, daysAWeek: 3 },
    progressions: ['Facing the ring, from close', 'One step out each week as long as the line holds'],
    fromAge: 8,
    cautions: ['A ball too heavy or a ring too high makes this fault: change them first.', pain],
    moves: { measure: 'pathPlanarity', side: 'less', by: 0.02 },
    source: noSource,
  },
  {
    name: 'same-from-every-start',
    title: 'One shot, three starts',
    forFaults: ['uneven-starts'],
    purpose: 'The free throw is the same shot as the one in play.',
    setUp: 'The free-throw line.',
    steps: [
      'One shot off a dribble, one off a catch, one from a hold, in an order drawn beforehand.',
      'Keep the way from the lowest point to release the same; a partner counts it aloud.',
    ],
    dose: { sets: 4, shotsASet: 6, daysAWeek: 3 },
    progressions: ['Two spots', 'A short run between shots'],
    fromAge: 14,
    cautions: [fresh, pain],
    moves: { measure: 'liftToReleaseS', side: 'less', by: 0.08 },
    source: noSource,
  },
  {
    name: 'tired-legs',
    title: 'Tired legs, same arc',
    forFaults: ['tired-drift'],
    purpose: 'When tired, target and arc stay and the legs give more.',
    setUp: 'One spot; a short run or ten jumps on the spot before each set.',
    steps: [
      'Shoot one set rested and remember the top of the arc.',
      'Run, then shoot: aim at the same top of the arc, with more from the legs.',
      'Stop the block as soon as the arc cannot be kept.',
    ],
    dose: { sets: 3, shotsASet: 6, daysAWeek: 2 },
    progressions: ['A longer run', 'At the end of practice, never more than twice a week'],
    fromAge: 16,
    cautions: [
      'Not with a heart or breathing complaint without a clinician’s word.',
      'Growing players: well inside the limit of the day.',
      pain,
    ],
    moves: { measure: 'launchAngleDeg', side: 'more', by: 2 },
    source: noSource,
  },
  {
    name: 'distance-ladder',
    title: 'Ladder with one hand',
    forFaults: ['out-of-range'],
    purpose: 'Range grows from the legs, not from cranking the arm back.',
    setUp: 'Marks every half metre from one metre out.',
    steps: [
      'One hand, upper arm level at the start, three shots from each mark.',
      'Go out one mark while the shot stays the same shot; go back one as soon as it does not.',
      'Write down the last mark: that is the range of the day.',
    ],
    dose: { sets: 2, shotsASet: 12, daysAWeek: 2 },
    progressions: ['Both hands', 'Off a step', 'Off a dribble'],
    fromAge: 12,
    cautions: ['Farther is not better: stop where the arm has to be pulled back.', fresh, pain],
    moves: { measure: 'liftToReleaseS', side: 'less', by: 0.08 },
    source: noSource,
  },
];

/** @returns drills for a fault that suit the age, a coach's own ones first. */
export function drillsFor(fault: FaultName, ageYears: number | null, own: readonly Drill[] = []): readonly Drill[] {
  return [...own, ...drillLibrary].filter(
    ({ forFaults, fromAge }) => forFaults.includes(fault) && (ageYears === null || ageYears >= fromAge),
  );
}
