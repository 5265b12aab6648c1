import { describe, expect, test } from 'vitest';
import { drillPictures } from '../../src/coaching/drill-pictures/drill-pictures.ts';
import type { PictureShape } from '../../src/coaching/drill-pictures/picture.ts';
import { drillLibrary } from '../../src/coaching/drills.ts';

describe('pictures of the drills', () => {
  test('every drill of the library has one, and none is left over', () => {
    expect(Object.keys(drillPictures).sort()).toEqual(drillLibrary.map(({ name }) => name).sort());
  });

  test.each(Object.entries(drillPictures))('%s lies within its frame', (_, picture) => {
    const outside = picture.shapes.flatMap((shape) =>
      extent(shape).filter(([x, y]) => x < -0.5 || x > picture.width + 0.5 || y < -0.5 || y > picture.height + 0.5),
    );
    expect(outside).toEqual([]);
    expect(picture.inWords.length).toBeGreaterThan(30);
  });
});

/** Corners of what a shape covers; letters are taken as 5.8 wide, as the widest common fonts have at size 11. */
function extent(shape: PictureShape): (readonly [number, number])[] {
  switch (shape.kind) {
    case 'line':
    case 'arrow':
      return [...shape.points];
    case 'circle': {
      const [x, y] = shape.at;
      return [
        [x - shape.radius, y - shape.radius],
        [x + shape.radius, y + shape.radius],
      ];
    }
    case 'label': {
      const half = 2.9 * shape.text.length;
      return [
        [shape.at[0] - half, shape.at[1] - 10],
        [shape.at[0] + half, shape.at[1]],
      ];
    }
  }
}
