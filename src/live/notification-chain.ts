/**
 * The chain from a raw notification to a shot: bytes with their host time go in, events come out. Live use and the
 * replay of a recording are the same call:
 *
 *     const chain = new SensorChain({ sensorName: 'ball-2', description, ballSettings });
 *     for (const { bytes, hostTimeS } of notifications) for (const event of chain.push(bytes, hostTimeS)) use(event);
 *     for (const event of chain.finish()) use(event);
 *     const { sampleRateHz, durationS, gapCount, clippedShare } = chain.summary();
 */
import type { ImuBlock } from '../foundation/imu-block.ts';
import type { CorruptCode } from '../protocol/notification.ts';
import type { SensorDescription } from '../protocol/sensor-description.ts';
import type { BallSettings, ShotEvent } from '../shots/shot.ts';

export interface SensorChainOptions {
  /** How the sensor is called in texts. */
  readonly sensorName: string;
  readonly description: SensorDescription;
  /** Settings of the ball analysis, or null when blocks alone are wanted. */
  readonly ballSettings: BallSettings | null;
}

/** What the chain says as notifications go in. `message` is a sentence for a person. */
export type ChainEvent =
  | ShotEvent
  | { readonly kind: 'block'; readonly block: ImuBlock }
  | {
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
  | { readonly kind: 'rate'; readonly sampleRateHz: number; readonly standardErrorHz: number };

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
}
