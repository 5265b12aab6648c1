import {
  cubicPiece,
  fadingForcePiece,
  type GrowthShape,
  growingForcePiece,
  type PathPoint,
  type Piece,
  pointOf,
  quinticPiece,
  Track,
} from './track.ts';
import { type Vec3, zero3 } from './vectors.ts';

/** Angular rate in room axes and its slope. */
export interface TurnPoint {
  readonly value: Vec3;
  readonly slope: Vec3;
}

/** Last moments in the hand: the push dies away over `fadeS` by `shape` from `pushMps2`. */
export interface LetGo {
  readonly pushMps2: Vec3;
  readonly shape: GrowthShape;
  readonly fadeS: number;
}

/** Collects what the hands do to the ball from when they get it, piece by piece, as a path and a turning. */
export class HandPhase {
  readonly #pieces: Piece[] = [];
  readonly #turns: { atS: number; point: TurnPoint }[] = [];
  #end: PathPoint;
  #timeS = 0;

  constructor(from: PathPoint, turn: TurnPoint) {
    this.#end = from;
    this.#turns.push({ atS: 0, point: turn });
  }

  get timeS(): number {
    return this.#timeS;
  }

  /** Time of the last turning waypoint given so far. */
  get turnedUntilS(): number {
    return this.#turns[this.#turns.length - 1]?.atS ?? 0;
  }

  get end(): PathPoint {
    return this.#end;
  }

  /** A phase that goes on from here without changing this one. */
  copy(): HandPhase {
    const first = this.#turns[0] as { point: TurnPoint };
    const copy = new HandPhase(this.#end, first.point);
    copy.#pieces.push(...this.#pieces);
    copy.#turns.push(...this.#turns.slice(1));
    copy.#timeS = this.#timeS;
    return copy;
  }

  /** The hands meet the ball: their force grows to `extraMps2` by the shape. */
  take(extraMps2: Vec3, shape: GrowthShape, durationS: number): this {
    return this.#push(growingForcePiece(this.#end, extraMps2, shape, durationS));
  }

  /** Moves to a position within a time, arriving with the given velocity and acceleration. */
  to(positionM: Vec3, durationS: number, velocityMps: Vec3 = zero3, accelerationMps2: Vec3 = zero3): this {
    return this.#push(
      quinticPiece(this.#end, { value: positionM, slope: velocityMps, bend: accelerationMps2 }, durationS),
    );
  }

  /** Moves so that the ball is in free flight at `target` after `durationS`, the push fading at the end. */
  letGo(target: PathPoint, how: LetGo, durationS: number): this {
    if (!(durationS > how.fadeS))
      throw new RangeError(`a hand cannot let go in ${durationS} s with a fade of ${how.fadeS} s`);
    const fade = fadingForcePiece(target, how.pushMps2, how.shape, how.fadeS);
    this.#push(quinticPiece(this.#end, pointOf(fade, 0), durationS - how.fadeS));
    return this.#push(fade);
  }

  /** Angular rate to be reached at a time of this phase; times must rise. */
  turn(rateRadps: Vec3, atS = this.#timeS, slopeRadps2: Vec3 = zero3): this {
    const last = this.#turns[this.#turns.length - 1];
    if (last && atS - last.atS < 1e-6) throw new RangeError(`turning at ${atS} s does not come after ${last.atS} s`);
    this.#turns.push({ atS, point: { value: rateRadps, slope: slopeRadps2 } });
    return this;
  }

  tracks(): { path: Track; turning: Track } {
    const pieces: Piece[] = [];
    for (let i = 1; i < this.#turns.length; i++) {
      const a = this.#turns[i - 1] as { atS: number; point: TurnPoint };
      const b = this.#turns[i] as { atS: number; point: TurnPoint };
      pieces.push(cubicPiece(a.point, b.point, b.atS - a.atS));
    }
    const turning = new Track(pieces);
    if (Math.abs(turning.durationS - this.#timeS) > 1e-9) {
      throw new RangeError(
        `the turning lasts ${turning.durationS} s, the path ${this.#timeS} s: they must end together`,
      );
    }
    return { path: new Track(this.#pieces), turning };
  }

  #push(piece: Piece): this {
    this.#pieces.push(piece);
    this.#timeS += piece.durationS;
    this.#end = pointOf(piece, piece.durationS);
    return this;
  }
}
