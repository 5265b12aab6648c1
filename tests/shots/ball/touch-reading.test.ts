import { describe, expect, it } from 'vitest';
import { readTouch, type TouchEvidence, type TouchHeights } from '../../../src/shots/ball/touch-reading.ts';
import { add, cross, dot, norm, scale, subtract, type Vec3 } from '../../../src/signal/vec3.ts';

const radiusM = 0.12;
const rodM = 0.009;
const velocityMps: Vec3 = [4.5, 0, -4.6];
const spinRadps: Vec3 = [1, -13, 1.5];
const usual: TouchHeights = { heightM: 1, ringM: 0.87, standardDeviationM: 0.25 };

/** A bounce off something whose push points along `n`: Newton's restitution, and a skin that grips or slides (Cross 2002). */
function bounce(n: Vec3, restitution = 0.6, friction = 0.6): { turn: Vec3; impulse: Vec3 } {
  const closing = -dot(velocityMps, n);
  const skin = add(velocityMps, cross(spinRadps, scale(n, -radiusM)));
  const sliding = subtract(skin, scale(n, dot(skin, n)));
  const pressed = (1 + restitution) * closing;
  const rub = Math.min(0.4, (friction * pressed) / norm(sliding));
  const impulse = add(scale(n, pressed), scale(sliding, -rub));
  // Torque -R n × J on a hollow sphere, 2/3 m R².
  return { turn: scale(cross(scale(n, -radiusM), impulse), 1.5 / radiusM ** 2), impulse };
}

function evidence(n: Vec3, change: Partial<TouchEvidence> = {}): TouchEvidence {
  const { turn, impulse } = bounce(n);
  return {
    velocityMps,
    spinRadps,
    radiusM,
    turn: { radps: turn, standardDeviation: 0.5 },
    impulse: { mps: impulse, standardDeviation: 0.3 },
    next: null,
    ...change,
  };
}

/** A unit vector this many degrees up, turned this many degrees from straight back. */
function push(upDeg: number, asideDeg: number): Vec3 {
  const [up, aside] = [(upDeg * Math.PI) / 180, (asideDeg * Math.PI) / 180];
  return [-Math.cos(up) * Math.cos(aside), Math.cos(up) * Math.sin(aside), Math.sin(up)];
}

const meanRing = (heights: readonly { ringM: number; weight: number }[]) =>
  heights.reduce((sum, { ringM, weight }) => sum + ringM * weight, 0);

describe('a touch read off the change of spin and velocity', () => {
  it.each([
    [30, 0],
    [50, 20],
    [70, -40],
    [85, 10],
  ])('is the ring where the push points %d° up, %d° aside, and says how high it is', (upDeg, asideDeg) => {
    const n = push(upDeg, asideDeg);
    const ringM = usual.heightM - (radiusM + rodM) * n[2];
    for (const change of [{}, { impulse: null }]) {
      const reading = readTouch(evidence(n, change), usual);
      expect(reading.ring).toBeGreaterThan(0.95);
      // The steps of the directions are 3° wide: 0.13 m times that, and what rub and bounce leave open.
      expect(Math.abs(meanRing(reading.heights) - ringM)).toBeLessThan(0.02);
      const size = norm(bounce(n).impulse);
      const { meanMps, standardDeviationMps } = reading.hardness;
      expect(Math.abs(meanMps - size)).toBeLessThan(2.5 * standardDeviationMps);
    }
    expect(readTouch(evidence(n), usual).hardness.standardDeviationMps).toBeLessThan(0.1 * norm(bounce(n).impulse));
  });

  it.each([0, 25, -50, 70])(
    'is the board where the push is level, %d° aside, and the height stays open',
    (asideDeg) => {
      const reading = readTouch(evidence(push(0, asideDeg), { next: 'free' }), { ...usual, heightM: 1.3 });
      expect(reading.board).toBeGreaterThan(0.8);
      const mean = meanRing(reading.heights);
      const scatter = reading.heights.reduce((sum, { ringM, weight }) => sum + weight * (ringM - mean) ** 2, 0);
      expect(Math.sqrt(scatter)).toBeGreaterThan(0.12);
    },
  );

  it('is the ring from beside where a net takes hold right after a level push', () => {
    const level = push(4, 10);
    const read = (next: TouchEvidence['next']) => readTouch(evidence(level, { next }), usual);
    expect(read('soft').ring).toBeGreaterThan(0.7);
    expect(read('free').ring).toBeLessThan(read(null).ring);
    expect(read('soft').ring).toBeGreaterThan(read(null).ring);
  });

  it('keeps what was known before where nothing of the touch was seen', () => {
    const reading = readTouch(evidence(push(50, 0), { turn: null, impulse: null }), usual);
    expect(reading.ring).toBeGreaterThan(0.6);
    expect(reading.board).toBeGreaterThan(0.05);
    expect(reading.ring + reading.board).toBeCloseTo(1, 12);
    expect(reading.heights.reduce((sum, { weight }) => sum + weight, 0)).toBeCloseTo(1, 9);
  });

  it('says how hard a floor threw the ball back', () => {
    const { turn, impulse } = bounce([0, 0, 1], 0.77);
    const { floor } = readTouch(
      evidence([0, 0, 1], { turn: { radps: turn, standardDeviation: 0.5 }, impulse: null }),
      usual,
    );
    expect(Math.abs((floor?.meanMps ?? 0) - norm(impulse))).toBeLessThan(2 * (floor?.standardDeviationMps ?? 0));
    expect(floor?.standardDeviationMps).toBeLessThan(0.4);
  });
});
