import type { ImuBlock } from '../../foundation/imu-block.ts';
import { type Measured, measured, notMeasured } from '../../foundation/measured.ts';
import { resolveParams } from '../../foundation/parameters.ts';
import { dot, type Vec3 } from '../../signal/vec3.ts';
import type { WristSettings } from '../shot.ts';
import { estimateMount, type MountEstimate } from './mount.ts';
import { learnMountShot } from './mount-evidence.ts';
import { initialMountObserver, type MountObserverState, stepMountObserver } from './mount-observer.ts';
import { mountParams } from './mount-params.ts';
import { readMountShot, type SensorMotion } from './mount-shot.ts';

const params = resolveParams(mountParams);
const degrees = 180 / Math.PI;

/** What a practice teaches of the arm that wears the sensor; what a person told goes before it. */
export class ArmLearner {
  private readonly told: WristSettings;
  private readonly state: MountObserverState;
  private estimate: MountEstimate | null = null;

  /**
   * @param told what the person said.
   * @param state where to go on from; by default nothing is known.
   */
  constructor(told: WristSettings, state: MountObserverState | null = null) {
    this.told = told;
    this.state = state === null ? initialMountObserver() : copied(state);
  }

  /** Takes one sample of the stream. */
  step(block: ImuBlock, i: number, gyroBiasRadps: readonly number[]): void {
    stepMountObserver(params, this.state, block, i, gyroBiasRadps);
  }

  /**
   * Takes the motion about a shot.
   *
   * @param holdS a time at which the follow-through is held, or null.
   */
  learnShot(motion: SensorMotion, releaseS: number, holdS: number | null): void {
    const shot = readMountShot(motion, releaseS, holdS);
    if (shot === null) return;
    learnMountShot(this.state.evidence, shot);
    this.estimate = null;
  }

  /** How the sensor sits, as far as it is known by now. */
  mount(): MountEstimate {
    // Quiet moments alone change little between two shots, and shots are what asks.
    this.estimate ??= estimateMount(params, this.state.evidence, { place: this.told.mount, side: null });
    return this.estimate;
  }

  /** @returns what the person said, with the place filled in where it was found. */
  settings(): WristSettings {
    const { place } = this.mount();
    return place === 'unknown' || this.told.mount !== null ? this.told : { ...this.told, mount: place };
  }

  /**
   * Elevation of the long axis above level.
   *
   * @param upInSensor unit vector up in the sensor's axes.
   * @param shifted the same at one-sigma shifts of all that it depends on.
   */
  elevationDeg(upInSensor: Vec3, shifted: readonly Vec3[]): Measured {
    const { longAxis } = this.mount();
    if (longAxis === null) return notMeasured('mount-unknown');
    // What is left of the elevation then is hardly more than that most forearms are steep at release.
    if (longAxis.pitchSdRad > params.elevationSdMostRad) return notMeasured('forearm-not-turned');
    const along = (up: Vec3): number => Math.asin(Math.min(1, Math.max(-1, dot(longAxis.inSensor, up))));
    const elevation = along(upInSensor);
    // An error to the side tilts a steep axis little, and lowers it when it is large.
    const sideRad = longAxis.sideSdRad * Math.abs(Math.sin(elevation)) * longAxis.sideSdRad;
    const spreads = shifted.map((up) => along(up) - elevation);
    return measured(elevation * degrees, Math.hypot(longAxis.pitchSdRad, sideRad, ...spreads) * degrees);
  }

  /** @returns a copy of all that was learnt, storable as JSON. */
  memory(): MountObserverState {
    return copied(this.state);
  }
}

function copied(state: MountObserverState): MountObserverState {
  return JSON.parse(JSON.stringify(state)) as MountObserverState;
}
