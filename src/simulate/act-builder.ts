import { airAcceleration } from './ball-body.ts';
import { attitudeOf, type MotionSegment, newState, setVector, stateLayout, vectorAt } from './ball-state.ts';
import { type BallWorld, FreeMotion, type FreeRun } from './free-motion.ts';
import { HandPhase, type LetGo, type TurnPoint } from './hand-phase.ts';
import { HeldSegment } from './held-segment.ts';
import type { Random } from './random.ts';
import { type GrowthShape, growthShapes, type PathPoint } from './track.ts';
import {
  add,
  multiplyQuat,
  norm,
  quatFromRotationVector,
  rotateAboutVertical,
  scale,
  subtract,
  type Vec3,
  zero3,
} from './vectors.ts';

/** How hands meet a ball. */
export interface HandTraits {
  /** Range in which the force of a hand meeting the ball grows to full, s. */
  readonly riseS: readonly [number, number];
  /** Size of sway and tremor while holding still: position m, angular rate rad/s. */
  readonly swayM: number;
  readonly swayRadps: number;
}

export const usualHands: HandTraits = { riseS: [0.005, 0.015], swayM: 0.0015, swayRadps: 0.04 };
export const softHands: HandTraits = { ...usualHands, riseS: [0.005, 0.06] };

/** Where the ball in the hands came from. */
export type BallSource = 'dribble' | 'pass' | 'hands';

/** One flight out of the hands in an act. */
export interface FlightMark {
  /** The hands met the ball here; the act's beginning or earlier when they had it before. */
  readonly handStartS: number;
  readonly source: BallSource;
  /** End of the hands' force and start of the free motion. */
  readonly flightStartS: number;
  readonly segmentIndex: number;
  readonly world: BallWorld;
}

/** Friction of fingers on a ball's skin (from memory, dry synthetic leather). */
const fingerFriction = 0.7;

/**
 * How long before the end of a fading push the fingers must have stopped turning the ball faster: a hollow ball gains at
 * most 1.5 μ f / R of angular acceleration from a hand pressing with f per unit mass.
 *
 * @param gainRadps what the spin-up adds over `spinUpS`, as a cubic with level ends.
 */
function slipS(how: LetGo, gainRadps: number, spinUpS: number, radiusM: number): number {
  const pushMps2 = norm(how.pushMps2);
  const growthRadps3 = (6 * gainRadps) / (spinUpS * spinUpS);
  const steps = 64;
  let slip = 0;
  for (let i = 0; i <= steps; i++) {
    const beforeEndS = (how.fadeS * i) / steps;
    const forceMps2 =
      pushMps2 *
      (growthShapes[how.shape] as readonly number[]).reduce(
        (sum: number, c, power) => sum + c * (i / steps) ** power,
        0,
      );
    slip = Math.max(slip, beforeEndS - (1.5 * fingerFriction * forceMps2) / (radiusM * growthRadps3));
  }
  return slip;
}

/** Builds one act of play as one unbroken motion. */
export class ActBuilder {
  readonly random: Random;
  readonly hands: HandTraits;
  readonly segments: MotionSegment[] = [];
  readonly flights: FlightMark[] = [];
  readonly state: Float64Array;
  world: BallWorld;
  timeS: number;
  handStartS: number;
  source: BallSource = 'hands';

  /** @param from state at the start; the ball is in the hands, since `handStartS`. */
  constructor(
    world: BallWorld,
    hands: HandTraits,
    random: Random,
    from: Float64Array,
    startS: number,
    handStartS: number,
  ) {
    this.world = world;
    this.hands = hands;
    this.random = random;
    this.state = Float64Array.from(from);
    this.timeS = startS;
    this.handStartS = handStartS;
  }

  get position(): Vec3 {
    return vectorAt(this.state, stateLayout.position);
  }

  get velocity(): Vec3 {
    return vectorAt(this.state, stateLayout.velocity);
  }

  get rate(): Vec3 {
    return vectorAt(this.state, stateLayout.rate);
  }

  /** Opens a stretch in the hands that starts with the present motion. */
  phase(): HandPhase {
    return new HandPhase(
      { value: this.position, slope: this.velocity, bend: vectorAt(this.state, stateLayout.acceleration) },
      { value: this.rate, slope: vectorAt(this.state, stateLayout.rateChange) },
    );
  }

  /** The ball does what the phase says. */
  commit(phase: HandPhase): void {
    const { path, turning } = phase.tracks();
    const segment = new HeldSegment(this.timeS, path, turning, attitudeOf(this.state));
    this.segments.push(segment);
    segment.stateAt(segment.endS, this.state);
    this.timeS = segment.endS;
  }

  /** Hands meet a ball in free motion and bring it to rest or to another motion at `positionM` after `durationS`. */
  catchPhase(durationS: number, velocityAfterMps: Vec3 = zero3): HandPhase {
    this.handStartS = this.timeS;
    const rise = Math.min(this.random.between(...this.hands.riseS), 0.45 * durationS);
    const shape = this.random.pick<GrowthShape>(['linear', 'square', 'smooth']);
    const change = subtract(velocityAfterMps, this.velocity);
    const lift: Vec3 = [0, 0, this.world.gravityMps2];
    const extra = add(scale(change, 1.25 / durationS), lift);
    return this.phase().take(extra, shape, rise);
  }

  /** State of a ball in free flight with these: what the hand must leave. */
  freePoint(positionM: Vec3, velocityMps: Vec3, rateRadps: Vec3): { point: PathPoint; turn: TurnPoint } {
    const out = new Float64Array(3);
    const input = new Float64Array(6);
    input.set(velocityMps);
    input.set(rateRadps, 3);
    const { ball, air, gravityMps2 } = this.world;
    airAcceleration(ball, air, gravityMps2, input, 0, 3, out);
    const bend: Vec3 = [out[0] as number, out[1] as number, (out[2] as number) - gravityMps2];
    return {
      point: { value: positionM, slope: velocityMps, bend },
      turn: { value: rateRadps, slope: scale(rateRadps, -air.spinDecayPerS) },
    };
  }

  /**
   * Ends a phase with the ball leaving the hand in free flight.
   *
   * @param spinUpS the angular rate goes to that of the flight in this time, from what it was.
   * @param build adds whatever comes before; called again when the ball's own unequal inertia asks for another angular
   *   acceleration at the end.
   */
  launch(
    build: () => HandPhase,
    target: { positionM: Vec3; velocityMps: Vec3; rateRadps: Vec3 },
    how: LetGo,
    durationS: number,
    turning: { spinUpS: number; rateBeforeRadps: Vec3 },
  ): void {
    const { point, turn } = this.freePoint(target.positionM, target.velocityMps, target.rateRadps);
    let slope = turn.slope;
    const [r0, r1, r2] = this.world.ball.inertiaRatio;
    const passes = r0 === r1 && r1 === r2 ? 1 : 2;
    for (let pass = 0; pass < passes; pass++) {
      const phase = build();
      const spinUpS = Math.min(turning.spinUpS, durationS);
      const before = phase.timeS + durationS - spinUpS;
      phase.letGo(point, how, durationS);
      if (before > phase.turnedUntilS + 1e-3) phase.turn(turning.rateBeforeRadps, before);
      const gainRadps = norm(subtract(target.rateRadps, turning.rateBeforeRadps));
      const earlyS = Math.min(slipS(how, gainRadps, spinUpS, this.world.ball.radiusM), 0.4 * spinUpS);
      const gripEndS = phase.timeS - earlyS;
      if (earlyS > 1e-5 && gripEndS > phase.turnedUntilS + 1e-3) {
        phase.turn(subtract(turn.value, scale(slope, earlyS)), gripEndS, slope);
      }
      phase.turn(turn.value, phase.timeS, slope);
      if (pass === passes - 1) {
        this.commit(phase);
        return;
      }
      const { path, turning: rates } = phase.tracks();
      const trial = newState();
      const segment = new HeldSegment(this.timeS, path, rates, attitudeOf(this.state));
      segment.stateAt(segment.endS, trial);
      slope = vectorAt(new FreeMotion(this.world).freeState(trial), stateLayout.rateChange);
    }
  }

  /** Lets physics run; the hands have let go. */
  fly(forS: number, until: (timeS: number, state: Float64Array) => boolean = () => false): FreeRun {
    this.flights.push({
      handStartS: this.handStartS,
      source: this.source,
      flightStartS: this.timeS,
      segmentIndex: this.segments.length,
      world: this.world,
    });
    const run = new FreeMotion(this.world).run(this.state, this.timeS, forS, until);
    this.segments.push(...run.segments);
    this.state.set(run.end);
    this.timeS = run.endS;
    return run;
  }

  /** Holds the ball nearly still with the hands' own sway. */
  holdStill(durationS: number, share = 1): void {
    if (durationS < 0.02) return;
    const phase = this.phase();
    const at = this.position;
    const moves = Math.max(1, Math.round(durationS / this.random.between(0.12, 0.25)));
    for (let i = 1; i <= moves; i++) {
      const last = i === moves;
      const off: Vec3 = last
        ? zero3
        : scale([this.random.normal(), this.random.normal(), this.random.normal()], share * this.hands.swayM);
      const turn: Vec3 = last
        ? zero3
        : scale([this.random.normal(), this.random.normal(), this.random.normal()], share * this.hands.swayRadps);
      phase.to(add(at, off), durationS / moves).turn(turn);
    }
    this.commit(phase);
  }

  /** Carries the ball to a place where it comes to rest. */
  carryTo(positionM: Vec3, durationS: number, turnRadps = 1.5): void {
    const phase = this.phase().to(positionM, durationS);
    phase.turn(scale(this.random.direction(), this.random.between(0, turnRadps)), durationS / 2);
    this.commit(phase.turn(zero3));
  }

  /**
   * Turns the room about the vertical under the moving ball, so that x points elsewhere from here on. An inertial sensor
   * cannot tell; the motion before this instant stays written in the old room.
   */
  turnRoom(angleRad: number): void {
    const q = multiplyQuat(quatFromRotationVector([0, 0, angleRad]), attitudeOf(this.state));
    const { position, velocity, acceleration, attitude, rate, rateChange } = stateLayout;
    for (const at of [position, velocity, acceleration, rate, rateChange]) {
      setVector(this.state, at, rotateAboutVertical(vectorAt(this.state, at), angleRad));
    }
    setVector(this.state, attitude, q);
  }

  /** The next act's x axis points elsewhere and its origin lies below the ball, which must be at rest in the hands. */
  reframe(): void {
    for (const at of [stateLayout.velocity, stateLayout.acceleration, stateLayout.rate, stateLayout.rateChange]) {
      if (norm(vectorAt(this.state, at)) > 1e-6)
        throw new RangeError('an act must start with the ball at rest in the hands');
      setVector(this.state, at, zero3);
    }
    this.turnRoom(this.random.between(-Math.PI, Math.PI));
    setVector(this.state, stateLayout.position, [0, 0, this.position[2]]);
  }
}
