import { standardGravityMps2 } from '../../foundation/constants.ts';
import { measured, notMeasured } from '../../foundation/measured.ts';
import { norm, vecAt } from '../../signal/vec3.ts';
import { type BallMeasureName, ballMeasureNames, type RejectedFlight, type Shot, unseenByBall } from '../shot.ts';
import type { FlightContext, FlightOutcome } from './ball-shot.ts';
import { type Edge, locateEdge } from './edges.ts';

/** How far past the quiet run its ends are looked for, s. */
const padS = 0.1;
/** Share of a flight's samples whose force is taken as the flight's own, and noise above that, m/s². */
const flightShare = 0.94;
const forceNoiseMps2 = 0.2;
/** Without a gyroscope neither speed nor height of a flight is known: nothing tells a pass or a toss from a shot. */
const passOrShot = 'pass-or-shot';
/** What a throw by hands looks like to an accelerometer; a bounce lasts 0.02 s, hands hold and push for longer. */
export const handThrow = {
  /** s before release in which the ball must not have been free, and how long it may look so (a hand follows its fall). */
  heldS: 0.25,
  freeS: 0.08,
  /** Below this, in g, the ball may be free. */
  freeG: 0.25,
  /** The last s before release in which it is pushed, and the median force there, in g. */
  pushS: 0.12,
  leastG: 1.15,
  /** s; to rise 0.5 m and to come down to no more than 0.3 m below a ring above the release takes this long. */
  leastFlightS: 0.55,
} as const;

/**
 * Analyses a flight seen by an accelerometer alone: its two ends, and whether hands pushed the ball into it. A flight that
 * does not show that it came from hands and lasted as a shot lasts is rejected; a pass that flies as long as a shot looks
 * the same. What needs a direction is null `no-gyro`.
 */
export function analyseForceOnlyFlight(context: FlightContext, index: number): FlightOutcome {
  const { block, run, stepS, filterDelayS } = context;
  const pad = Math.ceil(padS / stepS);
  const first = Math.max(0, run.start - pad);
  const last = Math.min(block.length, run.end + pad);
  const n = last - first;
  const size = new Float64Array(n);
  for (let i = 0; i < n; i++) size[i] = norm(vecAt(block.accelMps2, first + i));
  const inner = Array.from(size.subarray(run.start - first + 2, run.end - first - 2)).sort((a, b) => a - b);
  // Drag grows as the ball falls and a tumbling sensor's lever comes and goes: what the flight itself shows is no touch.
  const level = inner[Math.floor(inner.length * flightShare)] ?? 0;
  const above = size.map((s) => Math.max(0, s - level));
  const flags = block.flags.subarray(first, last);
  const timeS = block.timeS.subarray(first, last);
  const middle = Math.floor(n / 2);
  const series = { timeS, forceMps2: above, flags, noiseMps2: forceNoiseMps2, stepS, filterDelayS };
  const release = locateEdge(series, middle, -1);
  const contact = locateEdge(series, middle, 1);
  const startS = instant(release) ?? (block.timeS[run.start] as number);
  const endS = instant(contact) ?? (block.timeS[run.end - 1] as number);
  const against = notThrown(context, release, startS, endS);
  if (against) {
    return {
      kind: 'rejected',
      rejected: { startS: startS - filterDelayS, endS: endS - filterDelayS, ...against },
      calibration: context.calibration,
    };
  }
  const measures = Object.fromEntries(
    ballMeasureNames.map((name) => [name, notMeasured('no-gyro')]),
  ) as Shot['measures'];
  const shown = (edge: Edge | null) => (edge?.timeS == null ? null : edge.timeS - filterDelayS);
  const error = (edge: Edge | null) =>
    edge && edge.timeS !== null ? Math.hypot(edge.standardErrorS, 0.5 * stepS) : null;
  const releaseS = shown(release);
  const contactS = shown(contact);
  const flight: Partial<Record<BallMeasureName, Shot['measures'][BallMeasureName]>> =
    releaseS !== null && contactS !== null
      ? {
          flightS: measured(contactS - releaseS, Math.hypot(error(release) ?? 0, error(contact) ?? 0), {
            flags: [passOrShot],
          }),
        }
      : { flightS: notMeasured('gap') };
  const shot: Shot = {
    index,
    stage: 'final',
    startKind: 'unknown',
    pickupS: null,
    liftS: null,
    releaseS,
    contactS,
    timeErrorsS: { pickup: null, lift: null, release: error(release), contact: error(contact) },
    timeReasons: {
      pickup: 'no-gyro',
      lift: 'no-gyro',
      ...(releaseS === null ? { release: 'gap' as const } : {}),
      ...(contactS === null ? { contact: 'no-contact' as const } : {}),
    },
    contactKind: 'unknown',
    pauseAt: null,
    measures: { ...measures, ...flight, ...unseenByBall },
  };
  return { kind: 'shot', shot: Object.freeze(shot), calibration: context.calibration };
}

/** @returns why a flight is no throw by hands that could be a shot, or null. */
function notThrown(
  { block, run, stepS }: FlightContext,
  release: Edge | null,
  startS: number,
  endS: number,
): Pick<RejectedFlight, 'kind' | 'reason'> | null {
  const p = handThrow;
  const flew = `free for ${(endS - startS).toFixed(2)} s`;
  if (release?.timeS == null) {
    return { kind: 'undecided', reason: `${flew}, but what came before it was not seen: no sign of a throw` };
  }
  const push: number[] = [];
  let coveredS = 0;
  let freeSinceS: number | null = null;
  for (let i = Math.min(run.start, block.length) - 1; i >= 0; i--) {
    const beforeS = startS - (block.timeS[i] as number);
    if (beforeS < 0) continue;
    if (beforeS > p.heldS) break;
    coveredS = beforeS;
    const forceG = norm(vecAt(block.accelMps2, i)) / standardGravityMps2;
    // The force fades over the last samples before release.
    if (beforeS > 2 * stepS && beforeS < p.pushS) push.push(forceG);
    if (beforeS < 2 * stepS || forceG > p.freeG) freeSinceS = null;
    else freeSinceS ??= beforeS;
    if (freeSinceS !== null && beforeS - freeSinceS > p.freeS) {
      const touch = `${flew} after a touch of ${freeSinceS.toFixed(2)} s, before which it was free`;
      return { kind: 'undecided', reason: `${touch}: a bounce or a tip; a throw needs hands that hold it` };
    }
  }
  if (coveredS < p.pushS || push.length === 0) {
    return { kind: 'undecided', reason: `${flew}, but what came before it was not seen: no sign of a throw` };
  }
  const pushG = push.toSorted((a, b) => a - b)[push.length >> 1] as number;
  if (pushG < p.leastG) {
    const without = `without a push before it (${pushG.toFixed(2)} g, a throw needs ${p.leastG} g)`;
    return { kind: 'drop', reason: `${flew} ${without}` };
  }
  if (endS - startS < p.leastFlightS) {
    return { kind: 'undecided', reason: `thrown, but ${flew}; a shot at a ring takes ${p.leastFlightS} s or more` };
  }
  return null;
}

function instant(edge: Edge | null): number | null {
  return edge ? edge.timeS : null;
}
