import { maxSamplesPerNotification, type NotificationFrame } from './notification.ts';

/** Where a stream stands: what the packet after the last accepted one should look like. Plain numbers, storable as JSON. */
export interface StreamPosition {
  readonly form: 'full' | 'short';
  readonly axes: 6 | 3;
  readonly startNumber: number | null;
  lastSequence: number;
  lastTick: number;
  /** Rows in the last accepted packet. */
  lastCount: number;
  /** Unwrapped index of the row after the last accepted packet. */
  nextIndex: number;
  /** Learned from the stream, null before its second packet. */
  ticksPerSample: number | null;
}

/** How a frame stands to a stream. `packets` and `samples` count from the packet that should come next. */
export type Relation =
  | {
      readonly kind: 'ahead' | 'behind';
      readonly packets: number;
      readonly samples: number;
      /** Ticks by which its stamp differs from what the stream foretells. */
      readonly stampErrorTicks: number;
    }
  | { readonly kind: 'foreign' };

/** A jump of more packets than this, either way, has to be confirmed by a second packet. */
export const nearPackets = 64;
/** Stamps may be off by this many samples, besides a share of the distance: to tell chance from a stream, not to measure. */
const stampSlackSamples = 4;
const stampSlackShare = 0.2;
/** How well the learned tick advance predicts a long loss in the short form. */
const longLossShare = 0.02;
/** New advances move the learned tick advance by this share; about ten packets of memory. */
const learningShare = 0.1;

/** @returns a position from which `frame` is the last accepted packet and `index` the unwrapped index of its first row. */
export function positionAfter(frame: NotificationFrame, index: number): StreamPosition {
  const count = frame.samples.length / frame.axes;
  return {
    form: frame.form,
    axes: frame.axes,
    startNumber: frame.startNumber,
    lastSequence: frame.sequence,
    lastTick: frame.tick,
    lastCount: count,
    nextIndex: index + count,
    ticksPerSample: null,
  };
}

/** Moves the position on to `frame`, which stands `samples` rows ahead of the packet that should come next. */
export function advance(position: StreamPosition, frame: NotificationFrame, samples: number): void {
  const rows = position.lastCount + samples;
  const observed = uint32(frame.tick - position.lastTick) / rows;
  const known = position.ticksPerSample;
  position.ticksPerSample = known === null ? observed : known + learningShare * (observed - known);
  position.nextIndex += samples + frame.samples.length / frame.axes;
  position.lastSequence = frame.sequence;
  position.lastTick = frame.tick;
  position.lastCount = frame.samples.length / frame.axes;
}

/** @returns whether the frame belongs near the position, before or behind; counters and ticks have to agree. */
export function relate(position: StreamPosition, frame: NotificationFrame): Relation {
  if (!sameKind(position, frame)) return { kind: 'foreign' };
  const packets = int16(frame.sequence - position.lastSequence - 1);
  const samples = frame.form === 'short' ? packets : int32(frame.sampleIndex - position.nextIndex);
  const maxRows = frame.form === 'short' ? 1 : maxSamplesPerNotification(frame.axes);
  const distance = Math.abs(samples);
  const agree = Math.sign(packets) === Math.sign(samples) && distance >= Math.abs(packets);
  if (!agree || Math.abs(packets) > nearPackets || distance > Math.abs(packets) * maxRows) return { kind: 'foreign' };
  if (!ticksAgree(position, frame.tick, samples)) return { kind: 'foreign' };
  const stampErrorTicks = Math.abs(stampError(position, frame.tick, samples));
  return { kind: packets >= 0 ? 'ahead' : 'behind', packets, samples, stampErrorTicks };
}

/**
 * Tells a long loss from a new start, for a frame that `relate` calls foreign and a second one confirmed.
 *
 * @returns packets and samples lost, or null when counters or ticks started anew.
 */
export function longLoss(
  position: StreamPosition,
  frame: NotificationFrame,
): { packets: number; samples: number } | null {
  if (!sameKind(position, frame)) return null;
  const sequenceAhead = uint16(frame.sequence - position.lastSequence - 1);
  const ticks = uint32(frame.tick - position.lastTick);
  const perSample = position.ticksPerSample;
  if (frame.form === 'short') {
    // Sixteen bits wrap within minutes; the ticks tell how often they did, up to half a turn of their own.
    if (ticks >= 0x80000000 || perSample === null) return null;
    const rows = ticks / perSample;
    const wraps = Math.max(0, Math.round((rows - 1 - sequenceAhead) / 0x10000));
    const samples = sequenceAhead + 0x10000 * wraps;
    const agree = Math.abs(rows - 1 - samples) <= longLossShare * rows + stampSlackSamples;
    return agree ? { packets: samples, samples } : null;
  }
  const samples = int32(frame.sampleIndex - position.nextIndex);
  if (samples < 0) return null;
  if (samples === 0) return ticks < 0x80000000 ? { packets: 0, samples: 0 } : null;
  const wraps = Math.max(0, Math.round((samples / position.lastCount - sequenceAhead) / 0x10000));
  return { packets: sequenceAhead + 0x10000 * wraps, samples };
}

function sameKind(position: StreamPosition, frame: NotificationFrame): boolean {
  return frame.form === position.form && frame.axes === position.axes && frame.startNumber === position.startNumber;
}

function ticksAgree(position: StreamPosition, tick: number, samples: number): boolean {
  const perSample = position.ticksPerSample;
  const rows = position.lastCount + samples;
  if (perSample === null) return int32(tick - position.lastTick) > 0 === rows > 0;
  return (
    Math.abs(stampError(position, tick, samples)) <= (stampSlackShare * Math.abs(rows) + stampSlackSamples) * perSample
  );
}

/** Ticks by which a stamp differs from what the learned advance foretells; 0 before there is any. */
function stampError(position: StreamPosition, tick: number, samples: number): number {
  const perSample = position.ticksPerSample;
  if (perSample === null) return 0;
  // Modulo 2³²: over half the counter's range the sign of a difference is ambiguous.
  return int32(tick - position.lastTick - (position.lastCount + samples) * perSample);
}

function uint16(value: number): number {
  return value & 0xffff;
}

function int16(value: number): number {
  return (value << 16) >> 16;
}

function uint32(value: number): number {
  return value - 2 ** 32 * Math.floor(value / 2 ** 32);
}

function int32(value: number): number {
  return value - 2 ** 32 * Math.round(value / 2 ** 32);
}
