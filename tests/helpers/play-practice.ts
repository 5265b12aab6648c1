/**
 * Plays a simulated practice and has it analysed, by samples or by the whole way of encoded notifications.
 */
import { type ImuBlock, type SensorTraits, sampleFlag } from '../../src/foundation/imu-block.ts';
import { type ChainEvent, SensorChain } from '../../src/live/notification-chain.ts';
import { decodeSensorDescription } from '../../src/protocol/sensor-description.ts';
import { BallTracker } from '../../src/shots/ball/ball-tracker.ts';
import { type BallSettings, defaultBallSettings, type RejectedFlight, type Shot } from '../../src/shots/shot.ts';
import { drawPracticePlan, type PracticeDraw } from '../../src/simulate/draw-plan.ts';
import { encodePractice } from '../../src/simulate/encoded-practice.ts';
import { type PracticeOptions, simulatePractice } from '../../src/simulate/practice.ts';
import type { ActPlan, ShotPlan } from '../../src/simulate/practice-plan.ts';
import type { DecoyTruth, PracticeTruth, ShotTruth } from '../../src/simulate/practice-truth.ts';
import { firstSpinAxisInBall, mountNear } from '../../src/simulate/scenarios.ts';
import {
  drawSensor,
  filterDelayS,
  type SensorDraw,
  type SensorModel,
  traitsOf,
} from '../../src/simulate/sensor-model.ts';
import { type SwitchName, switchesOn } from '../../src/simulate/switches.ts';
import { gapsOf, type StreamGaps } from './gap-rule.ts';
import { airFor, boundSession, type ShotBound } from './session-bound.ts';

/** One practice to play, as plain data. The seed decides everything else. */
export interface PracticeSpec {
  readonly seed: string;
  readonly shots: number;
  readonly decoys: number;
  readonly draw?: Partial<PracticeDraw>;
  /** Replaces these parts of every shot's plan. */
  readonly fixed?: Partial<ShotPlan>;
  /** Shots aimed so are aimed at the ring's front instead. */
  readonly withoutAim?: ShotPlan['aim'];
  readonly sensor?: Partial<SensorDraw>;
  /** Replaces parts of the sensor drawn. */
  readonly sensorFixed?: Partial<SensorModel>;
  /** Mounts the sensor so that its z axis lies this far from the spin axis of the first shot, degrees. */
  readonly spinAxisOffDeg?: number;
  readonly switches?: readonly SwitchName[];
  readonly settings?: Partial<BallSettings>;
  /** `samples`: straight into the tracker; `notifications`: encoded, through parser, clock and chain. */
  readonly path: 'samples' | 'notifications';
  /** Also compute the Cramér–Rao bounds; only without switches. */
  readonly bound?: boolean;
}

/** What came of it. Truth is on the clock of the reported times. */
export interface PlayedPractice {
  readonly seed: string;
  readonly truth: PracticeTruth;
  readonly reported: readonly Shot[];
  readonly rejected: readonly RejectedFlight[];
  readonly gaps: StreamGaps;
  /** Of each true shot, whether a gyroscope axis was at its end in flight. */
  readonly gyroClipped: readonly boolean[];
  /** Of each true shot; null where not asked for. */
  readonly bounds: readonly ShotBound[] | null;
  readonly durationS: number;
  readonly samples: number;
  readonly simulateMs: number;
  readonly analyseMs: number;
}

/** @returns how `spec` is played. */
export function practiceOptions(spec: PracticeSpec): PracticeOptions & { readonly sensor: SensorModel } {
  const plan = drawPracticePlan(spec.seed, { shots: spec.shots, decoys: spec.decoys, ...spec.draw });
  const acts = plan.map((act): ActPlan => {
    if (act.kind !== 'shot') return act;
    return { ...act, ...(act.aim === spec.withoutAim ? { aim: 'front' as const } : {}), ...spec.fixed };
  });
  const sensor = { ...drawSensor(spec.seed, spec.sensor ?? {}), ...spec.sensorFixed };
  const switches = switchesOn(...(spec.switches ?? []));
  const options = { seed: spec.seed, acts, sensor, switches, ...(spec.bound ? { air: airFor(spec.seed) } : {}) };
  if (spec.spinAxisOffDeg === undefined) return options;
  const sensorToBall = mountNear(firstSpinAxisInBall(options), spec.spinAxisOffDeg);
  return { ...options, sensor: { ...sensor, sensorToBall } };
}

export function playPractice(spec: PracticeSpec): PlayedPractice {
  return spec.path === 'samples' ? playSamples(spec) : playNotifications(spec);
}

interface Analysed {
  readonly spec: PracticeSpec;
  readonly options: ReturnType<typeof practiceOptions>;
  readonly truth: PracticeTruth;
  readonly block: ImuBlock;
  readonly events: readonly ChainEvent[];
  readonly simulateMs: number;
  readonly analyseMs: number;
}

function settingsOf(spec: PracticeSpec): BallSettings {
  return { ...defaultBallSettings, ...spec.settings };
}

function playSamples(spec: PracticeSpec): PlayedPractice {
  const startMs = performance.now();
  const options = practiceOptions(spec);
  const { block, truth, traits } = simulatePractice(options);
  const middleMs = performance.now();
  const events = trackBlock(block, traits, settingsOf(spec));
  const analyseMs = performance.now() - middleMs;
  return tell({ spec, options, truth, block, events, simulateMs: middleMs - startMs, analyseMs });
}

/** @returns everything that the tracker says of a block. */
export function trackBlock(block: ImuBlock, traits: SensorTraits, settings: BallSettings, firstEstimates = true) {
  const tracker = new BallTracker(traits, settings, firstEstimates);
  return [...tracker.push(block), ...tracker.finish()];
}

function playNotifications(spec: PracticeSpec): PlayedPractice {
  const startMs = performance.now();
  const options = practiceOptions(spec);
  const encoded = encodePractice(options);
  const chunks = [...encoded.chunks];
  const middleMs = performance.now();
  const chain = new SensorChain({
    sensorName: spec.seed,
    description: decodeSensorDescription(encoded.description),
    ballSettings: settingsOf(spec),
  });
  const events: ChainEvent[] = [];
  for (const { notifications } of chunks) {
    for (const { bytes, hostTimeS } of notifications) events.push(...chain.push(bytes, hostTimeS));
  }
  events.push(...chain.finish());
  const analyseMs = performance.now() - middleMs;
  const block = joined(events.flatMap((event) => (event.kind === 'block' ? [event.block] : [])));
  const timeZeroTick = chunks.findLast((chunk) => chunk.timeZeroTick !== null)?.timeZeroTick ?? 0;
  const chainZeroTick = chain.summary().timeZeroTick ?? 0;
  const laterS = wrapped(timeZeroTick - chainZeroTick) * encoded.sensor.link.tickUnitS;
  const truth = {
    schemaVersion: 1 as const,
    seed: spec.seed,
    timeZeroTick: chainZeroTick,
    shots: chunks.flatMap((chunk) => chunk.shots).map((shot) => shiftShot(shot, laterS)),
    decoys: chunks.flatMap((chunk) => chunk.decoys).map((decoy) => shiftDecoy(decoy, laterS)),
  };
  return tell({ spec, options, truth, block, events, simulateMs: middleMs - startMs, analyseMs });
}

/** Difference of two u32 ticks, between −2³¹ and 2³¹. */
function wrapped(ticks: number): number {
  return ((((ticks + 2 ** 31) % 2 ** 32) + 2 ** 32) % 2 ** 32) - 2 ** 31;
}

function shiftShot(shot: ShotTruth, byS: number): ShotTruth {
  const shifted = (timeS: number | null) => (timeS === null ? null : timeS + byS);
  return {
    ...shot,
    pickupS: shifted(shot.pickupS),
    liftS: shifted(shot.liftS),
    releaseS: shot.releaseS + byS,
    contactS: shifted(shot.contactS),
  };
}

function shiftDecoy(decoy: DecoyTruth, byS: number): DecoyTruth {
  return { ...decoy, startS: decoy.startS + byS, endS: decoy.endS + byS };
}

function joined(blocks: readonly ImuBlock[]): ImuBlock {
  const length = blocks.reduce((sum, block) => sum + block.length, 0);
  const whole = {
    length,
    timeS: new Float64Array(length),
    accelMps2: new Float64Array(3 * length),
    gyroRadps: new Float64Array(3 * length),
    flags: new Uint8Array(length),
  };
  let at = 0;
  for (const block of blocks) {
    whole.timeS.set(block.timeS, at);
    whole.accelMps2.set(block.accelMps2, 3 * at);
    if (block.gyroRadps) whole.gyroRadps.set(block.gyroRadps, 3 * at);
    whole.flags.set(block.flags, at);
    at += block.length;
  }
  return whole;
}

function tell({ spec, options, truth, block, events, simulateMs, analyseMs }: Analysed): PlayedPractice {
  const reported: Shot[] = [];
  const rejected: RejectedFlight[] = [];
  for (const event of events) {
    if (event.kind === 'shot' && event.shot.stage === 'final') reported.push(event.shot);
    if (event.kind === 'rejected') rejected.push(event.rejected);
  }
  const { sensor } = options;
  const delayS = filterDelayS(sensor);
  return {
    seed: spec.seed,
    truth,
    reported,
    rejected,
    gaps: gapsOf(block, delayS, traitsOf(sensor).nominalRateHz),
    gyroClipped: truth.shots.map((shot) => clippedInFlight(block, shot, delayS)),
    bounds: spec.bound ? boundSession(options, block, truth) : null,
    durationS: (block.timeS[block.length - 1] ?? 0) - (block.timeS[0] ?? 0),
    samples: block.length,
    simulateMs,
    analyseMs,
  };
}

function clippedInFlight(block: ImuBlock, shot: ShotTruth, delayS: number): boolean {
  const fromS = shot.releaseS + delayS + 0.02;
  const toS = (shot.contactS ?? shot.releaseS + 0.5) + delayS - 0.02;
  let clipped = 0;
  let all = 0;
  for (let i = 0; i < block.length; i++) {
    const timeS = block.timeS[i] as number;
    if (timeS < fromS || timeS > toS) continue;
    all++;
    if (((block.flags[i] as number) & sampleFlag.gyroClipped) !== 0) clipped++;
  }
  return all > 0 && clipped > 0.5 * all;
}
