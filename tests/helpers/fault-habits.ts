import type { ShotHabit } from '../../src/simulate/arm/steady-shooter.ts';
import { faultStrengths } from './fault-strengths.ts';

/** What one shot of a session is shot with. */
export interface SessionShot {
  readonly habit: ShotHabit;
  readonly start: 'dribble' | 'catch' | 'hold';
  readonly distanceM: number;
  /** Where the hands meet a pass, within a few centimetres; drawn where it is left out. */
  readonly catchHeightM?: number;
}

const near = 4.6;
const far = 6.75;
const clean: ShotHabit = {};

/** Shots of a session with a fault built in at one of its strengths; `side` is where the player's own goes, 1 or -1. */
export function sessionWith(fault: string | null, strength: number, shots: number, side: 1 | -1): SessionShot[] {
  const row = faultStrengths.find((one) => one.fault === fault);
  const size = row?.strengths[strength] ?? 0;
  const second = row?.with?.strengths[strength] ?? 0;
  return Array.from({ length: shots }, (_, i) => {
    const kind = (['dribble', 'catch', 'dribble', 'catch', 'hold'] as const)[i % 5]!;
    const plain: SessionShot = {
      habit: clean,
      start: fault === null ? kind : i % 2 === 0 ? 'dribble' : 'catch',
      distanceM: near,
    };
    switch (fault) {
      case null:
        return plain;
      case 'off-hand-push':
        return { ...plain, habit: { sidePushMps: side * size, tiltDeg: side * second } };
      case 'side-flick':
        return { ...plain, habit: { tiltDeg: side * size } };
      case 'low-finish':
        return { ...plain, habit: { forearmDropDeg: size } };
      case 'hard-flat-touch':
        return { ...plain, habit: { overLeastMps: size, launchDropDeg: second } };
      case 'weak-backspin':
        return { ...plain, habit: { spinRps: size } };
      case 'slow-pickup':
        return { ...plain, habit: { gatherS: size } };
      case 'two-part':
        return { ...plain, habit: { stopS: size } };
      case 'across-body':
        return { ...plain, habit: { pickupSideM: side * size } };
      case 'deep-dip':
        // A ball picked up off a dribble is too low for such a drop, and so is a low pass.
        return { ...plain, start: 'catch', catchHeightM: 1.25, habit: { dropM: size } };
      case 'short-follow-through':
        return { ...plain, habit: { followThroughS: size } };
      case 'turn-in-air':
        return { ...plain, habit: { airTurnDeg: side * size } };
      case 'off-line-push':
        return { ...plain, habit: { offPlane: size } };
      case 'uneven-starts':
        return i % 2 === 0 ? { ...plain, start: 'hold', habit: { liftS: size } } : { ...plain, start: 'catch' };
      case 'tired-drift':
        return { ...plain, habit: { launchDropDeg: (size * i) / 50 } };
      case 'out-of-range':
        // From far and near in pairs, so that each distance sees both starts.
        return i % 4 < 2 ? { ...plain, distanceM: far, habit: { liftS: size } } : plain;
      default:
        throw new RangeError(`no session is known for ${fault}`);
    }
  });
}
