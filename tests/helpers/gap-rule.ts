import { type ImuBlock, sampleFlag } from '../../src/foundation/imu-block.ts';
import type { ShotTruth } from '../../src/simulate/practice-truth.ts';

/** Where a stream has no samples, on its own clock, and how far the sensor's filter delays what it shows. */
export interface StreamGaps {
  /** Last sample before and first sample after each gap, s. */
  readonly spansS: readonly (readonly [number, number])[];
  readonly filterDelayS: number;
  readonly periodS: number;
}

type Event = 'pickup' | 'lift' | 'release' | 'contact';

/** The events without which a time or measure has no meaning. */
const neededEvents: Readonly<Record<string, readonly Event[]>> = {
  pickup: ['pickup'],
  lift: ['lift'],
  release: ['release'],
  contact: ['contact'],
  pickupToReleaseS: ['pickup', 'release'],
  liftToReleaseS: ['lift', 'release'],
  pauseS: ['pickup', 'release'],
  dipDepthM: ['pickup', 'lift'],
  sidePathM: ['pickup', 'release'],
  flightS: ['release', 'contact'],
  spinRps: ['release'],
  backspinRps: ['release'],
  sidespinRps: ['release'],
  rifleSpinRps: ['release'],
  axisTiltDeg: ['release'],
  launchSpeedMps: ['release'],
  launchAngleDeg: ['release'],
  entryAngleDeg: ['release', 'contact'],
  apexM: ['release'],
  speedMarginMps: ['release'],
  contactHardnessMps: ['contact'],
  sidewaysImpulseMps: ['release'],
  spinBeforeLiftRps: ['pickup', 'lift'],
};

/**
 * Sudden events without whose instant the quantity cannot be known. The lift and the pickup of a hold are no such events: a
 * smooth path can be followed through a short gap. Spin and its axis hardly change within one.
 */
const suddenEvents: Readonly<Record<string, readonly Event[]>> = {
  pickup: ['pickup'],
  release: ['release'],
  contact: ['contact'],
  pickupToReleaseS: ['pickup', 'release'],
  liftToReleaseS: ['release'],
  dipDepthM: ['pickup'],
  flightS: ['release', 'contact'],
  launchSpeedMps: ['release'],
  launchAngleDeg: ['release'],
  apexM: ['release'],
  contactHardnessMps: ['contact'],
  sidewaysImpulseMps: ['release'],
};

/** @returns the gaps of a block. */
export function gapsOf(block: ImuBlock, filterDelayS: number, rateHz: number): StreamGaps {
  const spansS: [number, number][] = [];
  for (let i = 1; i < block.length; i++) {
    if (((block.flags[i] as number) & sampleFlag.gapBefore) === 0) continue;
    spansS.push([block.timeS[i - 1] as number, block.timeS[i] as number]);
  }
  return { spansS, filterDelayS, periodS: 1 / rateHz };
}

/**
 * Whether a null is what the definitions demand.
 *
 * `gap`: an event that the quantity needs shows in a gap or so close to one that the sensor's filter smears it in: within
 * two samples or two filter delays of its ends. `no-ring-reference`: the first contact was no clean one with ring or net.
 * A board is more than a metre high, so a contact with it does not tell the ring's height to better than a quarter of a metre,
 * and a net met from outside may be met anywhere on its 0.4 m.
 */
export function excusesNull(name: string, reason: string, shot: ShotTruth, gaps: StreamGaps | null): boolean {
  if (reason === 'gap') {
    return gaps !== null && timesOf(neededEvents[name] ?? [], shot).some((atS) => shownInGap(atS, gaps, nearS(gaps)));
  }
  if (name === 'entryAngleDeg' && reason === 'no-ring-reference') return !givesRingHeight(shot);
  if (name === 'speedMarginMps') return reason === 'no-distance';
  return false;
}

/** Whether the first contact tells how high the ring is above release. */
export function givesRingHeight(shot: ShotTruth): boolean {
  if (shot.contactKind === 'ring') return true;
  return shot.contactKind === 'net' && !shot.setting.aim.endsWith('-air');
}

/** Whether a sudden event that the quantity cannot do without shows deeper than 5 ms inside a gap. */
export function insideGap(name: string, shot: ShotTruth, gaps: StreamGaps): boolean {
  const sudden = (suddenEvents[name] ?? []).filter((event) => event !== 'pickup' || shot.startKind !== 'hold');
  return timesOf(sudden, shot).some((atS) => shownInGap(atS, gaps, -0.005));
}

const nearS = ({ periodS, filterDelayS }: StreamGaps) => 2 * Math.max(periodS, filterDelayS);

function timesOf(events: readonly Event[], shot: ShotTruth): number[] {
  const times = events.map((event) => shot[`${event}S`]);
  return times.filter((timeS): timeS is number => timeS !== null);
}

/** The sensor shows an event later than it happens, by its filter's delay. */
function shownInGap(eventS: number, gaps: StreamGaps, widenS: number): boolean {
  const shownS = eventS + gaps.filterDelayS;
  return gaps.spansS.some(([fromS, toS]) => shownS > fromS - widenS && shownS < toS + widenS);
}
