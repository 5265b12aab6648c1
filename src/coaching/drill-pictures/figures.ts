import { along, ball, floorY, type PicturePoint, type PictureShape } from './picture.ts';

const length = { shin: 26, thigh: 26, trunk: 38, upperArm: 20, forearm: 18, hand: 8 };

/** Directions of upper arm, forearm and hand: degrees above forward; 90 is straight up, -90 hanging. */
export type ArmPose = readonly [number, number, number];

export interface SidePose {
  /** Where the feet stand. */
  readonly x: number;
  /** 0 straight legs, 1 a deep bend. */
  readonly bend?: number;
  /** Degrees forward of upright. */
  readonly lean?: number;
  readonly arm: ArmPose;
  readonly otherArm?: ArmPose;
  /** The ball lies on the hand. */
  readonly withBall?: boolean;
  /** Height of the feet above the floor, for a jump. */
  readonly lift?: number;
}

export interface DrawnFigure {
  readonly shapes: readonly PictureShape[];
  readonly hand: PicturePoint;
  readonly head: PicturePoint;
  readonly hip: PicturePoint;
}

/** A player seen from the side, looking to the right. */
export function sideFigure({ x, bend = 0, lean = 0, arm, otherArm, withBall, lift = 0 }: SidePose): DrawnFigure {
  const ankle: PicturePoint = [x, floorY - 2 - lift];
  const knee = along(ankle, length.shin, 90 - 38 * bend);
  const hip = along(knee, length.thigh, 90 + 50 * bend);
  const shoulder = along(hip, length.trunk, 90 - lean);
  const head = along(shoulder, 14, 90 - lean / 2);
  const main = armPoints(shoulder, arm);
  const shapes: PictureShape[] = [
    { kind: 'line', points: [along(ankle, 8, 0), ankle, knee, hip, shoulder], weight: 'body' },
    { kind: 'circle', at: head, radius: 8, what: 'head' },
    { kind: 'line', points: main, weight: 'body' },
  ];
  if (otherArm) shapes.push({ kind: 'line', points: armPoints(shoulder, otherArm), weight: 'thing' });
  const hand = main[3]!;
  if (withBall) shapes.push(ball(along(hand, 6, arm[2] > 90 ? 75 : arm[2] + 60)));
  return { shapes, hand, head, hip };
}

function armPoints(shoulder: PicturePoint, [upper, fore, hand]: ArmPose): PicturePoint[] {
  const elbow = along(shoulder, length.upperArm, upper);
  const wrist = along(elbow, length.forearm, fore);
  return [shoulder, elbow, wrist, along(wrist, length.hand, hand)];
}

export interface FrontPose {
  readonly x: number;
  /** The shooting arm, on the left of the picture: the player looks at us. Degrees above the picture's right. */
  readonly arm: ArmPose;
  readonly otherArm: ArmPose;
  readonly withBall?: boolean;
  readonly lift?: number;
  /** Knees out for a bend, 0 to 1. */
  readonly bend?: number;
}

/** A player seen from the front. */
export function frontFigure({ x, arm, otherArm, withBall, lift = 0, bend = 0 }: FrontPose): DrawnFigure {
  const drop = 16 * bend;
  const feet = floorY - 2 - lift;
  const hip: PicturePoint = [x, feet - 52 + drop];
  const neck: PicturePoint = [x, hip[1] - 38];
  const leg = (side: -1 | 1): PicturePoint[] => [
    [x + 13 * side, feet],
    [x + (8 + 6 * bend) * side, feet - 26 + drop / 2],
    [x + 5 * side, hip[1]],
  ];
  const shoulder = (side: -1 | 1): PicturePoint => [x + 11 * side, neck[1] + 3];
  const main = armPoints(shoulder(-1), arm);
  const head: PicturePoint = [x, neck[1] - 12];
  const hand = main[3]!;
  const shapes: PictureShape[] = [
    { kind: 'line', points: [...leg(-1), ...leg(1).reverse()], weight: 'body' },
    { kind: 'line', points: [hip, neck], weight: 'body' },
    { kind: 'line', points: [shoulder(-1), shoulder(1)], weight: 'body' },
    { kind: 'circle', at: head, radius: 8, what: 'head' },
    { kind: 'line', points: main, weight: 'body' },
    { kind: 'line', points: armPoints(shoulder(1), otherArm), weight: 'thing' },
  ];
  if (withBall) shapes.push(ball(along(hand, 6, arm[2])));
  return { shapes, hand, head, hip };
}

/** A hand from behind with its four fingers and thumb, for what is about fingers alone. */
export function handFromBehind([x, y]: PicturePoint, scale = 1): PictureShape[] {
  const finger = (dx: number, degrees: number, reach: number): PictureShape => {
    const root: PicturePoint = [x + dx * scale, y - 16 * scale];
    return { kind: 'line', points: [root, along(root, reach * scale, degrees)], weight: 'body' };
  };
  const palm: readonly PicturePoint[] = [
    [x - 9 * scale, y - 16 * scale],
    [x + 9 * scale, y - 16 * scale],
    [x + 8 * scale, y],
    [x - 7 * scale, y],
    [x - 9 * scale, y - 16 * scale],
  ];
  const thumb: PicturePoint = [x - 8 * scale, y - 6 * scale];
  return [
    { kind: 'line', points: palm, weight: 'body' },
    { kind: 'line', points: [thumb, along(thumb, 15 * scale, 150)], weight: 'body' },
    finger(-7, 100, 17),
    finger(-2, 93, 20),
    finger(4, 86, 18),
    finger(9, 76, 14),
  ];
}
