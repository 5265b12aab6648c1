import { standardGravityMps2 } from '../../foundation/constants.ts';
import { notMeasured } from '../../foundation/measured.ts';
import { norm, vecAt } from '../../signal/vec3.ts';
import { type BallMeasureName, ballMeasureNames, type Shot, unseenByBall } from '../shot.ts';
import type { FlightContext, FlightOutcome } from './ball-shot.ts';
import { type Edge, locateEdge } from './edges.ts';

/** How far past the quiet run its ends are looked for, s. */
const padS = 0.1;
/** Share of a flight's samples whose force is taken as the flight's own, and noise above that, m/s². */
const flightShare = 0.94;
const forceNoiseMps2 = 0.2;
/** A throw is pushed before it flies: mean force over this time before release, in g. */
const push = { windowS: 0.15, leastG: 1.15 } as const;

/**
 * Analyses a flight seen by an accelerometer alone: its two ends, and whether the ball was pushed into it. What needs a
 * direction is null `no-gyro`.
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
  let sum = 0;
  let count = 0;
  for (let i = run.start - 1; i >= 0 && startS - (block.timeS[i] as number) < push.windowS; i--) {
    sum += norm(vecAt(block.accelMps2, i));
    count++;
  }
  const pushedG = count > 0 ? sum / count / standardGravityMps2 : 0;
  if (pushedG < push.leastG) {
    return {
      kind: 'rejected',
      rejected: {
        startS: startS - filterDelayS,
        endS: endS - filterDelayS,
        kind: 'drop',
        reason: `free for ${(endS - startS).toFixed(2)} s without a push before it (${pushedG.toFixed(2)} g, a throw needs ${push.leastG} g)`,
      },
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
      ? { flightS: { value: contactS - releaseS, standardError: Math.hypot(error(release) ?? 0, error(contact) ?? 0) } }
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

function instant(edge: Edge | null): number | null {
  return edge ? edge.timeS : null;
}
