/**
 * The chain from a raw notification to a shot: bytes with their host time go in, events come out. Live use and the
 * replay of a recording are the same call:
 *
 *     const chain = new SensorChain({ sensorName: 'ball-2', description, ballSettings });
 *     for (const { bytes, hostTimeS } of notifications) for (const event of chain.push(bytes, hostTimeS)) use(event);
 *     for (const event of chain.finish()) use(event);
 *     const { sampleRateHz, durationS, gapCount, clippedShare } = chain.summary();
 */
import { type ImuBlock, sampleFlag } from '../foundation/imu-block.ts';
import { deriveColumnConversion, framesToImuBlock, type TimedFrame } from '../protocol/imu-columns.ts';
import type { CorruptCode } from '../protocol/notification.ts';
import { NotificationParser, type ProtocolEvent } from '../protocol/notification-parser.ts';
import { type SensorDescription, sensorTraits } from '../protocol/sensor-description.ts';
import {
  type BallSettings,
  defaultWristSettings,
  type Preparation,
  type ShotEvent,
  type WristSettings,
} from '../shots/shot.ts';
import {
  deriveSensorClock,
  estimateSampleRate,
  estimateSensorClock,
  finishSensorClock,
  stepSensorClock,
} from '../signal/sensor-clock.ts';
import { type ClockEstimate, initialSensorClockState, type PacketTiming } from '../signal/sensor-clock-state.ts';
import { TripleTapStream } from '../signal/triple-tap.ts';
import { correctBlock, type SensorCorrection } from './sensor-correction.ts';
import { openTracker, placeOf, type SensorPlace, type ShotTracker } from './shot-tracker.ts';

export interface SensorChainOptions {
  /** How the sensor is called in texts. */
  readonly sensorName: string;
  readonly description: SensorDescription;
  /** Settings of the ball analysis, or null when blocks alone are wanted, from a ball or from a wrist. */
  readonly ballSettings: BallSettings | null;
  /** Settings of the wrist analysis; the mount that the sensor states goes before the one said here. */
  readonly wristSettings?: WristSettings;
  /** Where a sensor is that does not say so itself; default ball. */
  readonly place?: SensorPlace;
  /** Calibration of this sensor, applied to every sample; notifications, counts and flags stay those of the readings. */
  readonly correction?: SensorCorrection | null;
  /** Whether shots are told early as well, before they are over; default true. Of a recording nobody waits for them. */
  readonly firstEstimates?: boolean;
  /** How many later packets are waited for when one is missing; default 2. Each costs its span in latency after a loss. */
  readonly reorderPackets?: number;
}

/** What the chain says as notifications go in. `message` is a sentence for a person. */
export type ChainEvent =
  | ShotEvent
  | { readonly kind: 'block'; readonly block: ImuBlock }
  | {
      /** Rows are missing, or were never taken (`missingSamples` 0), between the rows at `startS` and `endS`. */
      readonly kind: 'gap';
      readonly startS: number;
      readonly endS: number;
      readonly missingPackets: number;
      readonly missingSamples: number;
      readonly message: string;
    }
  | { readonly kind: 'duplicate'; readonly message: string }
  | { readonly kind: 'reordered'; readonly restored: boolean; readonly message: string }
  | { readonly kind: 'corrupt'; readonly code: CorruptCode; readonly message: string }
  | {
      readonly kind: 'restart';
      /** Recording time of the first sample after the restart, by the host's clock. */
      readonly timeS: number;
      readonly standardErrorS: number | null;
      readonly message: string;
    }
  | { readonly kind: 'rate'; readonly sampleRateHz: number; readonly standardErrorHz: number }
  | {
      /** Somebody tapped the sensor three times, as a sign: instants of recording time, the sensor's filter taken out. */
      readonly kind: 'taps';
      readonly tapsS: readonly [number, number, number];
      readonly standardErrorS: number;
      readonly message: string;
    };

/** Counts over everything pushed so far. */
export interface ChainSummary {
  readonly packets: number;
  readonly samples: number;
  readonly gapCount: number;
  readonly missingPackets: number;
  readonly missingSamples: number;
  readonly corruptCount: number;
  readonly duplicateCount: number;
  readonly reorderedCount: number;
  readonly restartCount: number;
  /** Share of samples with a clipped axis, 0..1. */
  readonly clippedShare: number;
  /** From the first to the last sample. */
  readonly durationS: number;
  /** Estimated from ticks and counts, per second of device time; null before there were two packets. */
  readonly sampleRateHz: number | null;
  /** Device tick (with a fraction) at recording time 0, or null before the first sample. */
  readonly timeZeroTick: number | null;
  /** Rate, host time and starts with their errors. */
  readonly clock: ClockEstimate;
}

type FrameEvent = Extract<ProtocolEvent, { kind: 'frame' }>;
type GapEvent = Extract<ProtocolEvent, { kind: 'gap' }>;
type RestartEvent = Extract<ProtocolEvent, { kind: 'restart' }>;

/** A frame that waits for its time, with what is to be told before it. */
interface UntimedFrame {
  readonly event: FrameEvent;
  readonly gap: GapEvent | null;
  readonly restart: RestartEvent | null;
}

/** A rate is told again when it has moved by this share (and beyond its error). */
const toldRateShare = 0.001;

/** The whole way of one sensor's notifications. Any two runs over the same notifications give the same events. */
export class SensorChain {
  readonly #sensorName: string;
  readonly #parser: NotificationParser;
  readonly #conversion;
  readonly #axes: 3 | 6;
  readonly #clock;
  readonly #clockState = initialSensorClockState();
  readonly #tracker: ShotTracker | null;
  readonly #correction: SensorCorrection | null;
  readonly #taps = new TripleTapStream();
  readonly #filterDelayS: number;
  #untimed: UntimedFrame[] = [];
  #gap: GapEvent | null = null;
  #restart: RestartEvent | null = null;
  #timeZeroTick: number | null = null;
  #lastRowS: number | null = null;
  #firstRowS = 0;
  #clippedSamples = 0;
  #toldRateHz: number | null = null;
  readonly #counts = {
    packets: 0,
    samples: 0,
    gapCount: 0,
    missingPackets: 0,
    missingSamples: 0,
    corruptCount: 0,
    duplicateCount: 0,
    reorderedCount: 0,
    restartCount: 0,
  };

  constructor(options: SensorChainOptions) {
    const { description, sensorName, ballSettings, wristSettings = defaultWristSettings, reorderPackets = 2 } = options;
    const traits = sensorTraits(description);
    this.#sensorName = sensorName;
    this.#filterDelayS = traits.filterDelayS;
    this.#correction = options.correction ?? null;
    this.#parser = new NotificationParser({ sensorName, reorderPackets });
    this.#conversion = deriveColumnConversion(description);
    this.#axes = this.#conversion.hasGyro ? 6 : 3;
    this.#clock = deriveSensorClock(description.tickUnitS, traits.nominalRateHz);
    const stated = placeOf(description.placement);
    const place = stated?.place ?? options.place ?? 'ball';
    const worn = { ...wristSettings, mount: stated?.mount ?? wristSettings.mount };
    this.#tracker =
      ballSettings === null ? null : openTracker(place, traits, ballSettings, worn, options.firstEstimates);
  }

  /**
   * Takes one notification as it came.
   *
   * @param hostTimeS time of receipt, seconds; one that is not finite counts as unknown.
   */
  push(bytes: Uint8Array, hostTimeS: number): ChainEvent[] {
    this.#counts.packets += 1;
    const events: ChainEvent[] = [];
    this.#follow(this.#parser.push(bytes, Number.isFinite(hostTimeS) ? hostTimeS : null), events);
    return events;
  }

  /** Says that no more notifications come. */
  finish(): ChainEvent[] {
    const events: ChainEvent[] = [];
    this.#follow(this.#parser.finish(), events);
    this.#giveOut(finishSensorClock(this.#clock, this.#clockState), events);
    if (this.#tracker !== null) events.push(...this.#tracker.finish());
    return events;
  }

  /**
   * @returns work that notifications to come will ask for, or null. Done before, it lets a shot be told sooner; what is told is the same.
   */
  preparation(): Preparation | null {
    return this.#tracker?.preparation?.() ?? null;
  }

  summary(): ChainSummary {
    const clock = estimateSensorClock(this.#clock, this.#clockState);
    return Object.freeze({
      ...this.#counts,
      clippedShare: this.#counts.samples === 0 ? 0 : this.#clippedSamples / this.#counts.samples,
      durationS: this.#lastRowS === null ? 0 : this.#lastRowS - this.#firstRowS,
      sampleRateHz: clock.sampleRateHz,
      timeZeroTick: this.#timeZeroTick,
      clock,
    });
  }

  #follow(parsed: readonly ProtocolEvent[], events: ChainEvent[]): void {
    for (const event of parsed) {
      switch (event.kind) {
        case 'frame':
          this.#takeFrame(event, events);
          break;
        case 'gap':
          this.#gap = event;
          break;
        case 'restart':
          this.#restart = event;
          break;
        case 'corrupt':
          this.#corrupt(event.code, event.message, events);
          break;
        case 'duplicate':
          this.#counts.duplicateCount += 1;
          events.push({ kind: 'duplicate', message: event.message });
          break;
        case 'reordered':
          this.#counts.reorderedCount += 1;
          events.push({ kind: 'reordered', restored: event.restored, message: event.message });
          break;
      }
    }
  }

  #takeFrame(event: FrameEvent, events: ChainEvent[]): void {
    const { frame } = event;
    if (frame.axes !== this.#axes) {
      const message = `packet ${frame.sequence} of sensor ${this.#sensorName}: expected ${this.#axes} numbers a row as the sensor description says, came ${frame.axes}; the description is of another sensor or another setting`;
      this.#corrupt('axes', message, events);
      return;
    }
    this.#untimed.push({ event, gap: this.#gap, restart: this.#restart });
    const packet = {
      tick: frame.tick,
      count: frame.samples.length / frame.axes,
      firstIndex: event.index,
      hostTimeS: event.hostTimeS,
      afterGap: this.#gap !== null,
      afterRestart: this.#restart !== null,
    };
    this.#gap = null;
    this.#restart = null;
    this.#giveOut(stepSensorClock(this.#clock, this.#clockState, packet), events);
  }

  /** Frames whose times are known now become one block. */
  #giveOut(timings: readonly PacketTiming[], events: ChainEvent[]): void {
    if (timings.length === 0) return;
    this.#timeZeroTick ??= this.#clockState.segments[0]!.zeroTick;
    const timed: TimedFrame[] = timings.map((timing) => {
      const { event, gap, restart } = this.#untimed.shift()!;
      if (this.#lastRowS === null) {
        this.#firstRowS = timing.firstTimeS;
      } else {
        if (timing.afterRestart) this.#tellRestart(timing, restart, events);
        if (gap !== null || timing.afterJump) this.#tellGap(timing, gap, event, this.#lastRowS, events);
      }
      this.#lastRowS = timing.firstTimeS + (timing.count - 1) * timing.periodS;
      const gapBefore = gap !== null || timing.afterJump || timing.afterRestart;
      return { frame: event.frame, firstTimeS: timing.firstTimeS, periodS: timing.periodS, gapBefore };
    });
    const read = framesToImuBlock(this.#conversion, timed);
    const block = this.#correction === null ? read : correctBlock(this.#correction, read);
    this.#counts.samples += block.length;
    for (const flags of block.flags) {
      if ((flags & (sampleFlag.accelClipped | sampleFlag.gyroClipped)) !== 0) this.#clippedSamples += 1;
    }
    this.#tellRate(events);
    events.push({ kind: 'block', block });
    for (const { tapsS, standardErrorS } of this.#taps.push(block)) {
      const [first, second, third] = tapsS.map((timeS) => timeS - this.#filterDelayS) as [number, number, number];
      const message = `sensor ${this.#sensorName} was tapped three times at ${third.toFixed(2)} s`;
      events.push({ kind: 'taps', tapsS: [first, second, third], standardErrorS, message });
    }
    if (this.#tracker !== null) events.push(...this.#tracker.push(block));
  }

  #tellGap(timing: PacketTiming, gap: GapEvent | null, frame: FrameEvent, startS: number, events: ChainEvent[]): void {
    const missingPackets = gap?.missingPackets ?? 0;
    const missingSamples = gap?.missingSamples ?? 0;
    this.#counts.gapCount += 1;
    this.#counts.missingPackets += missingPackets;
    this.#counts.missingSamples += missingSamples;
    const { sequence } = frame.frame;
    const paused = `packet ${sequence} of sensor ${this.#sensorName}: the sensor did not sample for a while before it`;
    const message = gap?.message ?? paused;
    events.push({ kind: 'gap', startS, endS: timing.firstTimeS, missingPackets, missingSamples, message });
  }

  #tellRestart(timing: PacketTiming, restart: RestartEvent | null, events: ChainEvent[]): void {
    this.#counts.restartCount += 1;
    const standardErrorS = this.#clockState.segments.at(-1)?.startStandardErrorS ?? null;
    const message = restart?.message ?? `sensor ${this.#sensorName}: its ticks started anew`;
    events.push({ kind: 'restart', timeS: timing.firstTimeS, standardErrorS, message });
  }

  #corrupt(code: CorruptCode, message: string, events: ChainEvent[]): void {
    this.#counts.corruptCount += 1;
    events.push({ kind: 'corrupt', code, message });
  }

  #tellRate(events: ChainEvent[]): void {
    const rate = estimateSampleRate(this.#clockState);
    if (rate === null) return;
    const { sampleRateHz, standardErrorHz } = rate;
    const told = this.#toldRateHz;
    if (told !== null) {
      const allowed = Math.max(toldRateShare * told, 4 * standardErrorHz);
      if (Math.abs(sampleRateHz - told) <= allowed) return;
    }
    this.#toldRateHz = sampleRateHz;
    events.push({ kind: 'rate', sampleRateHz, standardErrorHz });
  }
}
