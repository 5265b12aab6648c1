import type { ImuBlock, SensorTraits } from '../foundation/imu-block.ts';
import type { Placement } from '../protocol/sensor-description.ts';
import { BallTracker } from '../shots/ball/ball-tracker.ts';
import {
  type ArmMount,
  type BallSettings,
  defaultWristSettings,
  type Preparation,
  type ShotEvent,
  type WristSettings,
} from '../shots/shot.ts';
import { WristTracker } from '../shots/wrist/wrist-tracker.ts';

/** Samples in, shots out; any split of the samples gives the same events. */
export interface ShotTracker {
  push(block: ImuBlock): ShotEvent[];
  finish(): ShotEvent[];
  /** What may be worked out ahead of the samples that will ask for it; null when there is nothing. */
  preparation?(): Preparation | null;
}

/** Whether a sensor is in the ball or worn on the arm. */
export type SensorPlace = 'ball' | 'wrist';

/** @returns where a sensor says it is, or null where it does not say. */
export function placeOf(placement: Placement): { readonly place: SensorPlace; readonly mount: ArmMount | null } | null {
  if (placement === 'ball') return { place: 'ball', mount: null };
  if (placement === 'wrist-forearm') return { place: 'wrist', mount: 'forearm' };
  if (placement === 'back-of-hand') return { place: 'wrist', mount: 'back-of-hand' };
  return null;
}

/**
 * @param firstEstimates whether shots are told early as well, before they are over.
 * @returns the analysis for a sensor at a place.
 */
export function openTracker(
  place: SensorPlace,
  traits: SensorTraits,
  ballSettings: BallSettings,
  wristSettings: WristSettings = defaultWristSettings,
  firstEstimates = true,
): ShotTracker {
  if (place === 'wrist') return new WristTracker(traits, wristSettings);
  return new BallTracker(traits, ballSettings, firstEstimates);
}
