import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  type ArcAero,
  type ArcPoint,
  apexOf,
  fallThrough,
  flyFor,
  leastSpeedMps,
  stepArc,
} from '../../src/flight/arc.ts';
import { aeroPreset, ballPresets } from '../../src/flight/ball-presets.ts';
import { dot, norm, type Vec3 } from '../../src/signal/vec3.ts';

const g = 9.80665;
const preset = aeroPreset(ballPresets[7]);
const vacuum: ArcAero = {
  dragPerM: 0,
  dragSlope: 0,
  dragBend: 0,
  liftSlope: 0,
  liftPerRad: 0,
  buoyancyMps2: 0,
  spinRadps: [0, 0, 0],
};
const dragged: ArcAero = { ...vacuum, dragPerM: preset.dragPerM };
/** Backspin of 3 rev/s. */
const full: ArcAero = { ...dragged, liftPerRad: preset.lift, spinRadps: [0, -6 * Math.PI, 0] };

/** What the step promises: position after a second of flight. */
const promisedM = 1e-4;

const launched = (velocityMps: Vec3): ArcPoint => ({ timeS: 0, positionM: [0, 0, 0], velocityMps });

function fly(start: ArcPoint, aero: ArcAero, steps: number): ArcPoint[] {
  const path = [start];
  for (let k = 0; k < steps; k++) path.push(stepArc(path[k] as ArcPoint, aero, 0.01));
  return path;
}

const energy = ({ positionM, velocityMps }: ArcPoint) => dot(velocityMps, velocityMps) / 2 + g * positionM[2];

const velocity = fc.tuple(
  fc.double({ min: 1, max: 7, noNaN: true }),
  fc.double({ min: -1, max: 1, noNaN: true }),
  fc.double({ min: 2, max: 8, noNaN: true }),
);

describe('flying for a time', () => {
  it('comes to where the arc passes the height that it reaches then', () => {
    const start = launched([4, 0.3, 7]);
    const end = fallThrough(start, full, 0.8) as ArcPoint;
    const there = flyFor(start, full, end.timeS);
    expect(
      norm(
        [0, 1, 2].map((axis) => (there.positionM[axis] as number) - (end.positionM[axis] as number)) as unknown as Vec3,
      ),
    ).toBeLessThan(promisedM);
    expect(there.timeS).toBeCloseTo(end.timeS, 12);
  });
});

describe('a step of flight', () => {
  it('is exact in vacuum', () => {
    fc.assert(
      fc.property(velocity, (v) => {
        const end = fly(launched(v), vacuum, 100)[100] as ArcPoint;
        expect(end.timeS).toBeCloseTo(1, 12);
        expect(end.positionM[0]).toBeCloseTo(v[0], 11);
        expect(end.positionM[1]).toBeCloseTo(v[1], 11);
        expect(end.positionM[2]).toBeCloseTo(v[2] - g / 2, 11);
        expect(end.velocityMps[2]).toBeCloseTo(v[2] - g, 11);
      }),
    );
  });

  it('follows a straight fall with drag, which has a closed form', () => {
    // v = −V tanh(g t / V), z = −(V² / g) ln cosh(g t / V) with the terminal speed V = √(g / k).
    const terminal = Math.sqrt(g / dragged.dragPerM);
    const end = fly(launched([0, 0, 0]), dragged, 100)[100] as ArcPoint;
    expect(Math.abs(end.positionM[2] + (terminal ** 2 / g) * Math.log(Math.cosh(g / terminal)))).toBeLessThan(
      promisedM,
    );
    expect(Math.abs(end.velocityMps[2] + terminal * Math.tanh(g / terminal))).toBeLessThan(promisedM);
  });

  it('turns the way along the floor by lift × spin about the vertical, to the left for a sidespin to the left', () => {
    // Lift m spin × v turns the horizontal velocity at the rate m spin and leaves the vertical one alone.
    const side: ArcAero = { ...vacuum, liftPerRad: preset.lift, spinRadps: [0, 0, 20] };
    const turn = preset.lift * 20;
    const end = fly(launched([6, 0, 5]), side, 100)[100] as ArcPoint;
    expect(Math.abs(end.velocityMps[0] - 6 * Math.cos(turn))).toBeLessThan(promisedM);
    expect(Math.abs(end.velocityMps[1] - 6 * Math.sin(turn))).toBeLessThan(promisedM);
    expect(Math.abs(end.positionM[0] - (6 * Math.sin(turn)) / turn)).toBeLessThan(promisedM);
    expect(Math.abs(end.positionM[1] - (6 * (1 - Math.cos(turn))) / turn)).toBeLessThan(promisedM);
    expect(Math.abs(end.positionM[2] - (5 - g / 2))).toBeLessThan(1e-11);
  });

  it('keeps energy where there is lift alone, and loses it to drag at the rate k |v|³', () => {
    fc.assert(
      fc.property(velocity, (v) => {
        const lift = fly(launched(v), { ...full, dragPerM: 0 }, 100);
        // A position within 1e-4 m is an energy within g · 1e-4 m, and so for each of the two speeds of about 10 m/s.
        for (const point of lift)
          expect(Math.abs(energy(point) - energy(lift[0] as ArcPoint))).toBeLessThan(20 * promisedM);
        const path = fly(launched(v), full, 100);
        let lost = 0;
        for (let k = 1; k <= 100; k++) {
          const [before, after] = [path[k - 1] as ArcPoint, path[k] as ArcPoint];
          expect(energy(after)).toBeLessThan(energy(before));
          lost += 0.005 * full.dragPerM * (norm(before.velocityMps) ** 3 + norm(after.velocityMps) ** 3);
        }
        const change = energy(path[0] as ArcPoint) - energy(path[100] as ArcPoint);
        expect(Math.abs(change - lost)).toBeLessThan(20 * promisedM);
      }),
    );
  });

  it('lifts a ball with backspin', () => {
    const top = (aero: ArcAero) => apexOf(launched([4.5, 0, 6]), aero).positionM[2];
    expect(top(full)).toBeGreaterThan(top(dragged));
    expect(top({ ...full, spinRadps: [0, 6 * Math.PI, 0] })).toBeLessThan(top(dragged));
  });
});

describe('the apex', () => {
  it('in vacuum lies at v² / 2g after v / g', () => {
    fc.assert(
      fc.property(velocity, (v) => {
        const apex = apexOf(launched(v), vacuum);
        expect(apex.positionM[2]).toBeCloseTo(v[2] ** 2 / (2 * g), 10);
        expect(apex.timeS).toBeCloseTo(v[2] / g, 10);
        expect(apex.velocityMps[2]).toBeCloseTo(0, 10);
      }),
    );
  });

  it('of a throw straight up with drag has a closed form', () => {
    // Height ln(1 + k v² / g) / 2k, time atan(v √(k / g)) / √(g k).
    const k = dragged.dragPerM;
    for (const speed of [1, 4, 8]) {
      const apex = apexOf(launched([0, 0, speed]), dragged);
      expect(Math.abs(apex.positionM[2] - Math.log(1 + (k * speed ** 2) / g) / (2 * k))).toBeLessThan(promisedM);
      expect(Math.abs(apex.timeS - Math.atan(speed * Math.sqrt(k / g)) / Math.sqrt(g * k))).toBeLessThan(promisedM);
    }
  });

  it('of a ball that falls already is where it is', () => {
    const falling = launched([3, 0, -1]);
    expect(apexOf(falling, full)).toBe(falling);
  });
});

describe('the fall through a height', () => {
  it('happens at that height, downward, after the apex', () => {
    fc.assert(
      fc.property(velocity, fc.double({ min: 0, max: 0.99, noNaN: true }), (v, share) => {
        const apex = apexOf(launched(v), full);
        const heightM = apex.positionM[2] * share;
        const end = fallThrough(launched(v), full, heightM) as ArcPoint;
        expect(end.positionM[2]).toBeCloseTo(heightM, 9);
        expect(end.velocityMps[2]).toBeLessThan(0);
        expect(end.timeS).toBeGreaterThan(apex.timeS);
      }),
    );
  });

  it('in vacuum solves the quadratic', () => {
    fc.assert(
      fc.property(velocity, fc.double({ min: -2, max: 0.15, noNaN: true }), (v, heightM) => {
        const end = fallThrough(launched(v), vacuum, heightM) as ArcPoint;
        const timeS = (v[2] + Math.sqrt(v[2] ** 2 - 2 * g * heightM)) / g;
        expect(end.timeS).toBeCloseTo(timeS, 9);
        expect(end.positionM[0]).toBeCloseTo(v[0] * timeS, 8);
      }),
    );
  });

  it('is null where the ball never comes', () => {
    const apexM = 5 ** 2 / (2 * g);
    expect(fallThrough(launched([4, 0, 5]), vacuum, apexM + 1e-3)).toBeNull();
    expect(fallThrough(launched([4, 0, 5]), vacuum, apexM - 1e-3)).not.toBeNull();
    // A height that only vacuum lets it reach.
    expect(fallThrough(launched([4, 0, 5]), dragged, apexM - 1e-3)).toBeNull();
    // Already below, and falling.
    expect(fallThrough(launched([4, 0, -1]), full, 0.5)).toBeNull();
  });
});

describe('the least speed', () => {
  it('is null where no speed suffices, and grows with distance', () => {
    expect(leastSpeedMps(80, 1, full, 0)).toBeNull();
    const speeds = [3, 5, 7].map((distanceM) => leastSpeedMps(distanceM, 1, dragged, 0) as number);
    expect(speeds).toEqual(speeds.toSorted((a, b) => a - b));
  });

  it.each([
    [1.2, 1.1],
    [4.2, 0.9],
    [6.7, -0.2],
    [9, 1.3],
  ])('to a point %f m away and %f m up is what trying every angle finds', (distanceM, heightM) => {
    const backspinRadps = 12;
    const aero: ArcAero = { ...full, spinRadps: [0, -backspinRadps, 0] };
    const goesFar = (speed: number, angle: number) => {
      const end = fallThrough(launched([speed * Math.cos(angle), 0, speed * Math.sin(angle)]), aero, heightM);
      return end !== null && end.positionM[0] >= distanceM;
    };
    let least = 20;
    // Half a degree beside the best angle costs less than 1e-3 m/s.
    for (let degrees = 30; degrees <= 80; degrees += 0.5) {
      const angle = (degrees * Math.PI) / 180;
      if (!goesFar(least, angle)) continue;
      let slow = 2;
      while (least - slow > 1e-6) {
        const middle = (least + slow) / 2;
        if (goesFar(middle, angle)) least = middle;
        else slow = middle;
      }
    }
    const found = leastSpeedMps(distanceM, heightM, aero, backspinRadps) as number;
    expect(Math.abs(found - least)).toBeLessThan(1e-3);
  });
});
