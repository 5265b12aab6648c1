import { airAcceleration } from './ball-body.ts';
import { type MotionSegment, newState, stateLayout, type Touch } from './ball-state.ts';
import type { BallWorld } from './free-motion.ts';
import type { Vec3 } from './vectors.ts';

/** An unbroken run of segments that can be asked for the ball's state and the force on it at any time. */
export class Motion {
  readonly segments: readonly MotionSegment[];
  readonly #world: BallWorld;
  readonly #state = newState();
  readonly #air = new Float64Array(3);
  #at = 0;

  constructor(segments: readonly MotionSegment[], world: BallWorld) {
    this.segments = segments;
    this.#world = world;
  }

  get startS(): number {
    return (this.segments[0] as MotionSegment).startS;
  }

  get endS(): number {
    return (this.segments[this.segments.length - 1] as MotionSegment).endS;
  }

  /** Index of the segment that holds `timeS`; the later one where two meet. */
  indexAt(timeS: number): number {
    let i = this.#at;
    if ((this.segments[i] as MotionSegment).startS > timeS) i = 0;
    while (i < this.segments.length - 1 && (this.segments[i] as MotionSegment).endS <= timeS) i++;
    this.#at = i;
    return i;
  }

  stateAt(timeS: number, out: Float64Array): void {
    (this.segments[this.indexAt(timeS)] as MotionSegment).stateAt(timeS, out);
  }

  touchAt(timeS: number): Touch {
    return (this.segments[this.indexAt(timeS)] as MotionSegment).touch;
  }

  /** Force on the ball per unit mass beyond gravity and air, m/s², room frame. */
  forceAt(timeS: number): Vec3 {
    this.stateAt(timeS, this.#state);
    const s = this.#state;
    const { ball, air, gravityMps2 } = this.#world;
    airAcceleration(ball, air, gravityMps2, s, stateLayout.velocity, stateLayout.rate, this.#air);
    const a = stateLayout.acceleration;
    return [
      (s[a] as number) - (this.#air[0] as number),
      (s[a + 1] as number) - (this.#air[1] as number),
      (s[a + 2] as number) - (this.#air[2] as number) + gravityMps2,
    ];
  }

  forceSizeAt(timeS: number): number {
    const [x, y, z] = this.forceAt(timeS);
    return Math.sqrt(x * x + y * y + z * z);
  }
}

/**
 * First instant in [fromS, toS] at which the condition is `wanted`, found on a grid of `stepS` and halved down to 1 µs;
 * null when there is none.
 */
export function firstInstant(
  fromS: number,
  toS: number,
  stepS: number,
  condition: (timeS: number) => boolean,
): number | null {
  if (condition(fromS)) return fromS;
  for (let before = fromS; before < toS; before += stepS) {
    const after = Math.min(toS, before + stepS);
    if (!condition(after)) continue;
    let low = before;
    let high = after;
    while (high - low > 1e-6) {
      const middle = (low + high) / 2;
      if (condition(middle)) high = middle;
      else low = middle;
    }
    return high;
  }
  return null;
}

/** Last instant in [fromS, toS] at which the condition holds; as `firstInstant`, backward. */
export function lastInstant(
  fromS: number,
  toS: number,
  stepS: number,
  condition: (timeS: number) => boolean,
): number | null {
  const mirrored = firstInstant(-toS, -fromS, stepS, (t) => condition(-t));
  return mirrored === null ? null : -mirrored;
}
