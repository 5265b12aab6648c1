import type { HostState } from './sensor-clock-host.ts';
import type { SensorClockParams } from './sensor-clock-params.ts';
import type { RateCoefficients, RateState } from './sensor-clock-rate.ts';

/** Derived once. */
export interface SensorClockCoefficients {
  readonly params: SensorClockParams;
  readonly tickUnitS: number;
  readonly nominalPeriodS: number;
  readonly rate: RateCoefficients;
}

/** One packet as the clock sees it. */
export interface ClockPacket {
  /** Raw tick of the first row, u32. */
  readonly tick: number;
  /** Rows in the packet, at least 1. */
  readonly count: number;
  /** Index of the first row since the sensor's start, lost rows counted; grows from packet to packet. */
  readonly firstIndex: number;
  /** Time of receipt on the host's clock, or null when unknown. */
  readonly hostTimeS: number | null;
  /** Packets were lost, or sampling paused, before this one. */
  readonly afterGap: boolean;
  /** The sensor's ticks or rows started anew with this packet. */
  readonly afterRestart: boolean;
}

/** Times of the rows of a packet: `firstTimeS + row × periodS`, in the order of the packets pushed. */
export interface PacketTiming {
  readonly firstTimeS: number;
  readonly periodS: number;
  readonly count: number;
  /** The first packet after a restart. */
  readonly afterRestart: boolean;
  /** The ticks jumped against the rows: sampling had paused. */
  readonly afterJump: boolean;
}

/** A stretch between two starts of the sensor. Recording time = startS + (unwrapped tick − zeroTick) × tick unit. */
export interface ClockSegment {
  readonly startS: number;
  /** Standard error of `startS` against the segment before; 0 for the first, null without host times. */
  readonly startStandardErrorS: number | null;
  /** Tick at `startS`, unwrapped from the raw tick of the segment's first packet, with a fraction. */
  readonly zeroTick: number;
}

/** What the clock knows. */
export interface ClockEstimate {
  /** Rows per second of device time, or null before two packets. */
  readonly sampleRateHz: number | null;
  readonly sampleRateStandardErrorHz: number | null;
  /** Host time at recording time `referenceS`, or null without host times. */
  readonly host: {
    readonly referenceS: number;
    readonly hostTimeS: number;
    readonly hostTimeStandardErrorS: number;
    /** Seconds the host's clock gains on the sensor's, in ppm. */
    readonly driftPpm: number;
    readonly driftStandardErrorPpm: number;
  } | null;
  /** The last 64 segments, the running one last; empty before the first rows were timed. */
  readonly segments: readonly ClockSegment[];
}

export interface HeldPacket {
  /** Device seconds since the segment's first packet; null when the stamp is not believed. */
  readonly deviceS: number | null;
  readonly packet: ClockPacket;
}

export interface LastPacket {
  tick: number;
  ticks: number;
  firstIndex: number;
  hostTimeS: number | null;
  /** Its stamp was not believed; tick and ticks are those that the rows would have. */
  doubted: boolean;
}

/** Everything the clock remembers: plain numbers, storable as JSON and resumable. */
export interface SensorClockState {
  /** Packets of a segment's start, waiting to be timed together. */
  held: HeldPacket[];
  /** Whether the held packets follow a restart. */
  restarting: boolean;
  /** The last packet, with its ticks unwrapped from the segment's first packet on; null before the first. */
  last: LastPacket | null;
  /** Raw tick of the segment's first packet. */
  firstTick: number;
  rate: RateState | null;
  /** Period of the segment before, for a segment that has but one packet. */
  periodBeforeS: number | null;
  /** More than one packet went into the rate. */
  rateKnown: boolean;
  /** Device seconds (since the segment's first packet) at the segment's start, and the recording time there. */
  zeroS: number;
  startS: number;
  segments: ClockSegment[];
  /** Recording time of the last row given out. */
  lastRowS: number | null;
  host: HostState | null;
}

/** @returns the state before the first packet. */
export function initialSensorClockState(): SensorClockState {
  return {
    held: [],
    restarting: false,
    last: null,
    firstTick: 0,
    rate: null,
    periodBeforeS: null,
    rateKnown: false,
    zeroS: 0,
    startS: 0,
    segments: [],
    lastRowS: null,
    host: null,
  };
}
