import type { WireShot } from '../server/wire/shot-document.ts';

const gravityMps2 = 9.80665;
/**
 * Deceleration by drag per squared speed, 1/m: half the density of air (1.2 kg/m³) times drag coefficient (0.47, a
 * sphere), cross-section (0.045 m²) and over mass (0.62 kg) of a size 7 ball.
 */
const dragPerM = 0.0205;
/** 90 % of a normal distribution lie within so many standard errors. */
const z90 = 1.6448536269514722;
const stepCount = 60;

export interface FlightPicture {
  readonly viewBox: string;
  readonly line: string;
  /** Closed: where the ball's centre was with 90 %. */
  readonly band: string;
  /** Height of the release. */
  readonly level: string;
}

type Point = readonly [x: number, z: number];

/**
 * The flight from the side, from release to first contact, in centimetres: launch speed and angle as measured, carried
 * on with gravity and drag. What spin lifts is left out; at the ring that is a few centimetres.
 *
 * @returns null where speed, angle or time of flight is not known.
 */
export function flightPicture(shot: WireShot): FlightPicture | null {
  const { launchSpeedMps, launchAngleDeg, flightS } = shot.measures;
  if (launchSpeedMps.value === null || launchAngleDeg.value === null || flightS.value === null) return null;
  const [speedMps, angleDeg, durationS] = [launchSpeedMps.value, launchAngleDeg.value, flightS.value];
  const points = arc(speedMps, angleDeg, durationS);
  const around = [-z90, z90].flatMap((speed) =>
    [-z90, z90].map((angle) =>
      arc(speedMps + speed * launchSpeedMps.standardError, angleDeg + angle * launchAngleDeg.standardError, durationS),
    ),
  );
  const edge = (pick: (...heights: number[]) => number): Point[] =>
    points.map(([x, z], index) => [x, pick(z, ...around.map((other) => other[index]?.[1] ?? z))]);
  const upper = edge(Math.max);
  const lower = edge(Math.min);
  const right = Math.max(...points.map(([x]) => x)) + 30;
  const top = Math.max(...upper.map(([, z]) => z)) + 30;
  const bottom = Math.min(...lower.map(([, z]) => z), 0) - 30;
  return {
    viewBox: [-30, -top, right + 30, top - bottom].map((value) => value.toFixed(0)).join(' '),
    line: `M${points.map(pair).join('L')}`,
    band: `M${[...upper, ...lower.toReversed()].map(pair).join('L')}Z`,
    level: `M-30 0H${right.toFixed(0)}`,
  };
}

function arc(speedMps: number, angleDeg: number, durationS: number): Point[] {
  const angle = (angleDeg * Math.PI) / 180;
  const stepS = durationS / stepCount;
  let [vx, vz] = [speedMps * Math.cos(angle), speedMps * Math.sin(angle)];
  let [x, z] = [0, 0];
  const points: Point[] = [[0, 0]];
  for (let step = 0; step < stepCount; step++) {
    // Half a step ahead, so that the error falls with the square of the step.
    const drag = dragPerM * Math.hypot(vx, vz);
    const [mx, mz] = [vx - (drag * vx * stepS) / 2, vz - ((drag * vz + gravityMps2) * stepS) / 2];
    const middle = dragPerM * Math.hypot(mx, mz);
    x += mx * stepS;
    z += mz * stepS;
    vx -= middle * mx * stepS;
    vz -= (middle * mz + gravityMps2) * stepS;
    points.push([100 * x, 100 * z]);
  }
  return points;
}

function pair([x, z]: Point): string {
  return `${x.toFixed(1)} ${(-z).toFixed(1)}`;
}

export interface TimingPicture {
  readonly parts: readonly { readonly name: 'gather' | 'lift'; readonly fromX: number; readonly toX: number }[];
  readonly marks: readonly {
    readonly name: 'pickup' | 'lift' | 'release';
    readonly x: number;
    /** Of the 90 % interval. */
    readonly halfWidth: number;
    readonly anchor: 'start' | 'middle' | 'end';
    /** False where its name would stand on another one. */
    readonly named: boolean;
  }[];
}

/** Pickup to release over the width of 320 units; null where either is not known. */
export function timingPicture(shot: WireShot): TimingPicture | null {
  const { pickupS, liftS, releaseS, timeErrorsS } = shot;
  if (pickupS === null || releaseS === null || releaseS <= pickupS) return null;
  const x = (timeS: number): number => 16 + (288 * (timeS - pickupS)) / (releaseS - pickupS);
  const scale = 288 / (releaseS - pickupS);
  const known = ([name, timeS]: readonly ['pickup' | 'lift' | 'release', number | null]) => {
    if (timeS === null || (name === 'lift' && timeS - pickupS < 0.02)) return [];
    const anchor = name === 'pickup' ? 'start' : name === 'release' ? 'end' : 'middle';
    const error = timeErrorsS[name] ?? 0;
    const at = x(timeS);
    const named = name !== 'lift' || (at > 85 && at < 235);
    return [{ name, x: at, halfWidth: Math.min(z90 * error * scale, 150), anchor, named } as const];
  };
  const marks = (
    [
      ['pickup', pickupS],
      ['lift', liftS],
      ['release', releaseS],
    ] as const
  ).flatMap(known);
  const liftX = liftS === null ? x(pickupS) : x(liftS);
  const parts = [
    { name: 'gather', fromX: x(pickupS), toX: liftX },
    { name: 'lift', fromX: liftX, toX: x(releaseS) },
  ] as const;
  return { parts: parts.filter(({ fromX, toX }) => toX > fromX), marks };
}
