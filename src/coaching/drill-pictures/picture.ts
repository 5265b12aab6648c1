/** A point of a picture, in its own units, y downward. */
export type PicturePoint = readonly [number, number];

/** What a picture is made of: plain data, so that a page and a printed report draw the same. */
export type PictureShape =
  | { readonly kind: 'line'; readonly points: readonly PicturePoint[]; readonly weight: 'body' | 'thing' | 'faint' }
  /** A way, and the two short strokes at its end. */
  | { readonly kind: 'arrow'; readonly points: readonly PicturePoint[]; readonly head: readonly PicturePoint[] }
  | { readonly kind: 'circle'; readonly at: PicturePoint; readonly radius: number; readonly what: 'head' | 'ball' }
  | { readonly kind: 'label'; readonly at: PicturePoint; readonly text: string };

export interface DrillPicture {
  readonly width: number;
  readonly height: number;
  /** What is seen, for those who do not see it. */
  readonly inWords: string;
  readonly shapes: readonly PictureShape[];
}

export const floorY = 150;

/** @returns the end of a stretch of this length, at this many degrees above forward (to the right). */
export function along([x, y]: PicturePoint, length: number, degrees: number): PicturePoint {
  const angle = (degrees * Math.PI) / 180;
  return [x + length * Math.cos(angle), y - length * Math.sin(angle)];
}

export const floor = (from: number, to: number): PictureShape => ({
  kind: 'line',
  points: [
    [from, floorY],
    [to, floorY],
  ],
  weight: 'faint',
});

export const wall = (x: number, top = 20): PictureShape => ({
  kind: 'line',
  points: [
    [x, top],
    [x, floorY],
  ],
  weight: 'thing',
});

export const ball = (at: PicturePoint, radius = 6): PictureShape => ({ kind: 'circle', at, radius, what: 'ball' });

export const label = (at: PicturePoint, text: string): PictureShape => ({ kind: 'label', at, text });

/** Board and ring from the side, the board at x, the ring to the left of it. */
export const hoop = (x: number, y = 34): PictureShape[] => [
  {
    kind: 'line',
    points: [
      [x, y - 24],
      [x, y + 6],
    ],
    weight: 'thing',
  },
  {
    kind: 'line',
    points: [
      [x, y],
      [x - 20, y],
    ],
    weight: 'thing',
  },
  {
    kind: 'line',
    points: [
      [x - 20, y],
      [x - 15, y + 12],
      [x - 7, y + 12],
      [x - 2, y],
    ],
    weight: 'faint',
  },
  {
    kind: 'line',
    points: [
      [x, y + 6],
      [x + 8, floorY],
    ],
    weight: 'faint',
  },
];

/** A throw's way with an arrow at its end: through `top` halfway, as a parabola is drawn. */
export function arc(from: PicturePoint, to: PicturePoint, top: number): PictureShape {
  const points: PicturePoint[] = [];
  const middle = 2 * top - (from[1] + to[1]) / 2;
  for (let i = 0; i <= 14; i++) {
    const t = i / 14;
    const x = from[0] + t * (to[0] - from[0]);
    const y = (1 - t) ** 2 * from[1] + 2 * t * (1 - t) * middle + t * t * to[1];
    points.push([x, y]);
  }
  return arrow(...points);
}

/** A way through these points, at least two, with an arrow at its end. */
export function arrow(...points: readonly PicturePoint[]): PictureShape {
  const [[fromX, fromY], [x, y]] = points.slice(-2) as [PicturePoint, PicturePoint];
  const angle = Math.atan2(y - fromY, x - fromX);
  const side = (turn: number): PicturePoint => [x - 6 * Math.cos(angle + turn), y - 6 * Math.sin(angle + turn)];
  return { kind: 'arrow', points, head: [side(0.5), [x, y], side(-0.5)] };
}
