import type { DrawnFigure } from './figures.ts';
import { frontFigure, handFromBehind, sideFigure } from './figures.ts';
import {
  along,
  arc,
  arrow,
  ball,
  type DrillPicture,
  floor,
  floorY,
  hoop,
  label,
  type PictureShape,
  wall,
} from './picture.ts';

/** Arms that many drills share. */
const pocket = [-70, 38, 100] as const;
const overBrow = [24, 88, 130] as const;
const finish = [62, 66, -25] as const;
const straightUp = [78, 84, 170] as const;
const hanging = [-95, -80, -80] as const;
const beside = [10, 100, 80] as const;

function scene(
  width: number,
  inWords: string,
  ...parts: readonly (DrawnFigure | readonly PictureShape[])[]
): DrillPicture {
  const shapes = parts.flatMap((part) => ('shapes' in part ? part.shapes : part));
  return Object.freeze({ width, height: 170, inWords, shapes: [floor(0, width), ...shapes] });
}

/** One picture for each drill of the library, by its name. Drawn for this program. */
export const drillPictures: Readonly<Record<string, DrillPicture>> = {
  'two-finger-release': scene(
    240,
    'A hand from behind, index and middle finger on the ball; beside it a player sends the ball straight up and it turns back to him.',
    [
      ...handFromBehind([60, 120], 2),
      ball([58, 52], 20),
      {
        kind: 'line',
        points: [
          [58, 32],
          [58, 72],
        ],
        weight: 'faint',
      },
      label([60, 165], 'two fingers last'),
    ],
    sideFigure({ x: 170, arm: [55, 85, 120], otherArm: hanging }),
    [ball([192, 22]), arrow([192, 60], [192, 34]), label([170, 165], 'straight up')],
  ),
  'roll-it-off': scene(
    260,
    'A player sends the ball a forearm up, fingers pointing down after it; then bounces it off the floor to a wall and back.',
    sideFigure({ x: 40, arm: [30, 80, -30], otherArm: hanging }),
    [ball([70, 18]), arrow([70, 42], [70, 30]), label([40, 165], 'fingers down')],
    sideFigure({ x: 140, arm: [35, 45, -30], otherArm: hanging }),
    [
      arrow([172, 70], [214, floorY - 8], [238, 96]),
      ball([230, 116], 5),
      wall(244),
      label([195, 165], 'floor, wall, back'),
    ],
  ),
  'ready-hands': scene(
    260,
    'A player with bent knees and hands up waits for a pass; then goes up with the catch.',
    sideFigure({ x: 60, bend: 0.8, lean: 12, arm: [-20, 55, 80], otherArm: [-30, 50, 70] }),
    [ball([140, 78]), arrow([132, 78], [100, 74]), label([76, 165], 'hands up before it comes')],
    sideFigure({ x: 200, arm: overBrow, otherArm: beside, withBall: true, lift: 8 }),
    [label([205, 165], 'up with the catch')],
  ),
  'quiet-other-hand': scene(
    240,
    'From the front: the other hand lies beside the ball with a card under its thumb; after release its palm faces where it faced before.',
    frontFigure({ x: 60, arm: [100, 72, 72], otherArm: [82, 100, 118], withBall: true }),
    [
      {
        kind: 'line',
        points: [
          [66, 22],
          [75, 13],
        ],
        weight: 'thing',
      },
      label([60, 165], 'card held'),
    ],
    frontFigure({ x: 170, arm: [96, 92, 60], otherArm: [70, 92, 92] }),
    [arrow([160, 14], [160, 4]), label([170, 165], 'still held')],
  ),
  'long-arm-snaps': scene(
    240,
    'A player with the arm almost straight above the head snaps the wrist only; the hand stays up.',
    sideFigure({ x: 60, arm: straightUp, otherArm: hanging, withBall: true }),
    [label([60, 165], 'arm straight')],
    sideFigure({ x: 160, arm: [76, 82, -20], otherArm: hanging }),
    [arc([178, 26], [208, floorY - 8], 40), label([165, 165], 'wrist only')],
  ),
  'hold-the-picture': scene(
    260,
    'A player has shot and keeps the hand up until the ball has touched the floor below the ring.',
    sideFigure({ x: 50, arm: finish, otherArm: [20, 70, 60] }),
    hoop(232),
    [arc([92, 40], [221, 34], 8), arrow([221, 48], [221, floorY - 10]), label([120, 165], 'hand up until it lands')],
  ),
  'soft-high-board': scene(
    240,
    'Two steps from the ring a player sends the ball high onto the board so that it drops in.',
    sideFigure({ x: 120, arm: finish, otherArm: [20, 70, 60], lift: 6 }),
    hoop(212, 44),
    [arc([160, 46], [208, 26], 6), arrow([206, 28], [200, 42]), label([140, 165], 'high and soft')],
  ),
  'up-at-once': scene(
    280,
    'A player picks the ball up with bent knees, and ball and legs go up in one rise without a stop.',
    sideFigure({ x: 46, bend: 1, lean: 26, arm: [-70, -35, -20], otherArm: [-75, -45, -30], withBall: true }),
    sideFigure({ x: 130, bend: 0.45, lean: 8, arm: [-45, 40, 100], otherArm: [-40, 35, 80], withBall: true }),
    sideFigure({ x: 222, arm: finish, otherArm: [20, 70, 60], lift: 8 }),
    [arrow([64, 132], [100, 124], [160, 84], [206, 30]), label([140, 165], 'one rise')],
  ),
  'both-sides-pickup': scene(
    260,
    'From the front: a ball dribbled on the far side comes over low and early, then goes up on the shooting side.',
    frontFigure({ x: 70, arm: [-100, -70, -60], otherArm: [-75, -60, -60], bend: 0.8 }),
    [
      ball([104, floorY - 10]),
      arrow([100, 128], [70, 118], [44, 110]),
      arrow([42, 106], [42, 62]),
      label([70, 165], 'over low, then up'),
    ],
    frontFigure({ x: 190, arm: [100, 72, 72], otherArm: [82, 104, 118], withBall: true }),
    [label([195, 165], 'one pocket')],
  ),
  'shallow-pocket': scene(
    240,
    'A player catches at the chest; the ball sinks a little, not below the belt, and rises.',
    sideFigure({ x: 70, bend: 0.5, lean: 6, arm: [-60, 30, 60], otherArm: [-65, 25, 50], withBall: true }),
    [
      {
        kind: 'line',
        points: [
          [30, 98],
          [140, 98],
        ],
        weight: 'faint',
      },
      label([166, 100], 'belt'),
      arrow([112, 66], [116, 90], [122, 66], [124, 40]),
      label([90, 165], 'never below the belt'),
    ],
  ),
  'drop-and-rise': scene(
    280,
    'From the front: weight even on two strips, down into the knees, up, and down on the same strips.',
    frontFigure({ x: 60, arm: [-110, -90, -90], otherArm: [-70, -90, -90], bend: 1 }),
    [strip(47), strip(73), label([60, 165], 'down, even')],
    frontFigure({ x: 150, arm: [110, 85, 85], otherArm: [70, 95, 95], lift: 9 }),
    [strip(137), strip(163), arrow([124, 140], [124, 116]), label([150, 165], 'up')],
    frontFigure({ x: 236, arm: [100, 88, 88], otherArm: [70, 95, 95], bend: 0.4 }),
    [strip(223), strip(249), label([236, 165], 'same place')],
  ),
  'upright-line': scene(
    240,
    'From the front: a wall stands a hand’s width beside the shooting arm; arm and ball go up along it.',
    frontFigure({ x: 110, arm: [92, 90, 90], otherArm: [-70, -85, -85], withBall: true }),
    [wall(82, 4), arrow([132, 46], [132, 22]), label([120, 165], 'along the wall, touching nothing')],
  ),
  'same-from-every-start': scene(
    300,
    'Three starts, off a dribble, off a catch, from a hold; the way from the lowest point to release is the same.',
    sideFigure({ x: 40, bend: 0.7, lean: 18, arm: [-60, -50, -40], otherArm: hanging }),
    [ball([68, floorY - 8]), arrow([66, 112], [68, 134]), label([46, 165], 'dribble')],
    sideFigure({ x: 130, bend: 0.6, lean: 10, arm: [-20, 40, 60], otherArm: [-30, 35, 50] }),
    [ball([196, 76], 5), arrow([190, 76], [174, 76]), label([140, 165], 'catch')],
    sideFigure({ x: 236, bend: 0.4, lean: 4, arm: pocket, otherArm: [-70, 60, 80], withBall: true }),
    [label([242, 165], 'hold')],
  ),
  'tired-legs': scene(
    280,
    'A player runs, then shoots with the same top of the arc as when rested.',
    sideFigure({ x: 40, bend: 0.5, lean: 16, arm: [-120, -30, -20], otherArm: [-50, 20, 30] }),
    [arrow([62, 120], [92, 120]), label([50, 165], 'run')],
    sideFigure({ x: 126, arm: finish, otherArm: [20, 70, 60], lift: 10 }),
    hoop(266),
    [
      arc([168, 32], [256, 34], 10),
      {
        kind: 'line',
        points: [
          [150, 10],
          [270, 10],
        ],
        weight: 'faint',
      },
      label([200, 165], 'same top of the arc'),
    ],
  ),
  'distance-ladder': scene(
    280,
    'Marks every half metre before the ring; a player shoots with one hand and goes back a mark while the shot stays whole.',
    sideFigure({ x: 150, arm: finish, otherArm: hanging }),
    hoop(262),
    [
      arc([192, 44], [251, 34], 14),
      ...[30, 70, 110, 150].map((x) => strip(x)),
      arrow([140, 120], [76, 120]),
      label([110, 165], 'a mark back, as long as it holds'),
    ],
  ),
};

function strip(x: number): PictureShape {
  return { kind: 'line', points: [along([x, floorY], 7, 180), along([x, floorY], 7, 0)], weight: 'thing' };
}
