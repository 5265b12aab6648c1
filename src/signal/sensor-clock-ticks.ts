import type { ClockPacket, SensorClockCoefficients, SensorClockState } from './sensor-clock-state.ts';

/** The tick counter has 32 bits. */
export const tickRange = 2 ** 32;
/** Ticks and rows may disagree by this, besides half the distance, before sampling is said to have paused. */
const roughS = 0.1;

/** Ticks since the segment's first packet. */
export interface UnwrappedTicks {
  readonly ticks: number;
  /** Sampling had paused before the packet. */
  readonly paused: boolean;
  /** The stamp was not believed; the ticks are those that the rows would have. */
  readonly doubted: boolean;
}

/** @returns ticks since the segment's first packet, or null when they have started anew. Needs a packet before. */
export function unwrapTicks(
  coefficients: SensorClockCoefficients,
  state: SensorClockState,
  packet: ClockPacket,
): UnwrappedTicks | null {
  const last = state.last!;
  const { tickUnitS, params } = coefficients;
  const rows = packet.firstIndex - last.firstIndex;
  if (rows <= 0) return null;
  const forward = packet.tick - last.tick;
  const byRows = (rows * (state.rate?.periodS ?? state.periodBeforeS ?? coefficients.nominalPeriodS)) / tickUnitS;
  const nearest = (expected: number) => forward + tickRange * Math.round((expected - forward) / tickRange);
  const ticks = nearest(byRows);
  // Rows and ticks agree, but for a rate several per cent off and rough stamps.
  const roughly = 0.5 * byRows + roughS / tickUnitS;
  if (ticks > 0 && Math.abs(ticks - byRows) <= roughly) {
    return { ticks: last.ticks + ticks, paused: false, doubted: false };
  }
  // One wild stamp is passed over; two are a pause or a start.
  if (!packet.afterGap && !last.doubted) {
    return { ticks: Math.round(last.ticks + byRows), paused: false, doubted: true };
  }
  // Sampling paused, or ticks started anew: only the host can tell.
  if (packet.hostTimeS === null || last.hostTimeS === null) {
    const pause = forward >= 0 ? forward : forward + tickRange;
    return pause < tickRange / 2 ? { ticks: last.ticks + pause, paused: true, doubted: false } : null;
  }
  const byHost = (packet.hostTimeS - last.hostTimeS) / tickUnitS;
  const pause = nearest(byHost);
  const credible = pause > 0 && Math.abs(pause - byHost) * tickUnitS <= params.restartToleranceS;
  return credible ? { ticks: last.ticks + pause, paused: true, doubted: false } : null;
}
