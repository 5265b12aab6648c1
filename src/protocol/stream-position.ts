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
  /** Mean size of the difference between stamps and what was foretold. */
  stampScatterTicks: number;
}

/** How a frame stands to a stream. `packets` and `samples` count from the packet that should come next. */
export type Relation = NearRelation | { readonly kind: 'foreign' };

export interface NearRelation {
  readonly kind: 'ahead' | 'behind';
  readonly packets: number;
  readonly samples: number;
  /** Ticks by which its stamp differs from what the stream foretells. */
  readonly stampErrorTicks: number;
  /** Short form: the stamp is further off than this stream's are, so that damage which the checksum missed is likely. */
  readonly doubtful: boolean;
}

/** A jump of more packets than this, either way, has to be confirmed by a second packet. */
export const nearPackets = 64;
/** Stamps may be off by this many samples, besides a share of the distance: to tell chance from a stream, not to measure. */
const stampSlackSamples = 4;
const stampSlackShare = 0.2;
/**
 * The short form's eight bits of checksum miss one damaged packet in 256, so that a stamp is doubted beyond this many
 * samples, and this share, where the stream has shown that it stamps well; else beyond this many times its scatter.
 */
const shortStampSlackSamples = 0.1;
const shortStampSlackShare = 0.02;
const shortStampScatters = 8;
/** A new start may have another rate, but not by more than this factor. */
const rateFactor = 32;
/** A packet confirms another that is at most this far behind it. */
const confirmingPackets = 8;
/** How well the learned tick advance predicts a long loss in the short form. */
const longLossShare = 0.02;
/** New advances move the learned tick advance by this share; about ten packets of memory. */
const learningShare = 0.1;
const scatterShare = 0.05;

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
    stampScatterTicks: 0,
  };
}

/** Moves the position on to `frame`, which stands `samples` rows ahead of the packet that should come next. */
export function advance(position: StreamPosition, frame: NotificationFrame, samples: number): void {
  const rows = position.lastCount + samples;
  const perSample = position.ticksPerSample;
  let tick = frame.tick;
  if (perSample === null) {
    const observed = uint32(frame.tick - position.lastTick) / rows;
    position.ticksPerSample = observed;
    // Half a sample until it is known better, which leaves nothing in doubt at first.
    position.stampScatterTicks = observed / 2;
  } else {
    const error = stampError(position, frame.tick, samples);
    if (isDoubtful(position, Math.abs(error), samples)) tick = uint32(Math.round(frame.tick - error));
    // Bounded, so that one wild stamp within reach cannot spoil what was learned.
    else position.ticksPerSample = perSample + learningShare * clamp(error / rows, 0.5 * perSample);
    position.stampScatterTicks += scatterShare * (Math.abs(error) - position.stampScatterTicks);
  }
  position.nextIndex += samples + frame.samples.length / frame.axes;
  position.lastSequence = frame.sequence;
  position.lastTick = tick;
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
  const kind = packets >= 0 ? 'ahead' : 'behind';
  return { kind, packets, samples, stampErrorTicks, doubtful: isDoubtful(position, stampErrorTicks, samples) };
}

/**
 * @param ticksPerSample of the stream so far, or null before there was one.
 * @returns whether `next` follows `first` closely enough that both must come from a sensor and not from chance.
 */
export function confirms(first: NotificationFrame, next: NotificationFrame, ticksPerSample: number | null): boolean {
  const position = positionAfter(first, first.sampleIndex);
  const relation = relate(position, next);
  if (relation.kind !== 'ahead' || relation.packets > confirmingPackets) return false;
  if (ticksPerSample === null) return true;
  const factor = uint32(next.tick - first.tick) / (position.lastCount + relation.samples) / ticksPerSample;
  return factor < rateFactor && factor > 1 / rateFactor;
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
  const error = Math.abs(stampError(position, tick, samples)) / perSample;
  return error <= stampSlackShare * Math.abs(rows) + stampSlackSamples;
}

function isDoubtful(position: StreamPosition, stampErrorTicks: number, samples: number): boolean {
  const perSample = position.ticksPerSample;
  if (position.form === 'full' || perSample === null) return false;
  const scatter = Math.max(shortStampSlackSamples * perSample, shortStampScatters * position.stampScatterTicks);
  const rows = position.lastCount + samples;
  return stampErrorTicks > shortStampSlackShare * Math.abs(rows) * perSample + scatter;
}

/** Ticks by which a stamp differs from what the learned advance foretells; 0 before there is any. */
function stampError(position: StreamPosition, tick: number, samples: number): number {
  const perSample = position.ticksPerSample;
  if (perSample === null) return 0;
  // Modulo 2³²: over half the counter's range the sign of a difference is ambiguous.
  return int32(tick - position.lastTick - (position.lastCount + samples) * perSample);
}

function clamp(value: number, bound: number): number {
  return Math.max(-bound, Math.min(bound, value));
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
