/**
 * The clock of one sensor: packets with tick, row count and host time go in, recording times of their rows come out.
 *
 * Recording time is device time in seconds, zero at the first row. Ticks (u32) are unwrapped; the time from row to row
 * is estimated from ticks and row counts, since the nominal rate may be several per cent off; the host's time is fitted
 * from the lower edge of the delays, for use across sensors, and carries recording time over a restart of the sensor,
 * where the ticks say nothing.
 *
 * Sources: see sensor-clock-rate.ts (times of rows) and sensor-clock-host.ts (host time).
 * Start-up: the first `warmUpPackets` packets of a segment (from a start to the next) are held and timed together.
 * Latency afterwards: none. Memory: `hostBinCount` points.
 */
import { resolveParams } from '../foundation/parameters.ts';
import { emptyHost, hostLineNow, stepHost } from './sensor-clock-host.ts';
import { type SensorClockParams, sensorClockParams } from './sensor-clock-params.ts';
import { fitFirstStamps, type RateState, stepRate } from './sensor-clock-rate.ts';
import type {
  ClockEstimate,
  ClockPacket,
  HeldPacket,
  PacketTiming,
  SensorClockCoefficients,
  SensorClockState,
} from './sensor-clock-state.ts';
import { tickRange, unwrapTicks } from './sensor-clock-ticks.ts';

export const sensorClockVersion = '1';

const maxSegments = 64;

/**
 * @param tickUnitS length of a tick.
 * @param nominalRateHz rows a second as the sensor says; used only while a single packet is all there is.
 * @throws SeamwiseError for parameters outside their range.
 */
export function deriveSensorClock(
  tickUnitS: number,
  nominalRateHz: number,
  params: Partial<SensorClockParams> = {},
): SensorClockCoefficients {
  const resolved = resolveParams(sensorClockParams, params);
  return Object.freeze({
    params: resolved,
    tickUnitS,
    nominalPeriodS: 1 / nominalRateHz,
    rate: Object.freeze({
      wanderVariancePerS: (resolved.rateWanderPpmPerSqrtS * 1e-6) ** 2,
      minStampVariance: tickUnitS ** 2 / 12,
      slipSigmas: resolved.slipSigmas,
      learningShare: resolved.stampLearningShare,
    }),
  });
}

/**
 * Takes one packet; changes `state`.
 *
 * @returns times of this packet, or of all held ones when the start of a segment has been timed; in order, none left
 *   out once `finishSensorClock` was called.
 */
export function stepSensorClock(
  coefficients: SensorClockCoefficients,
  state: SensorClockState,
  packet: ClockPacket,
): PacketTiming[] {
  const timings: PacketTiming[] = [];
  let ticks = 0;
  let doubted = false;
  let jumpAllowed = false;
  if (state.last !== null) {
    const unwrapped = packet.afterRestart ? null : unwrapTicks(coefficients, state, packet);
    if (unwrapped === null) {
      timings.push(...finishSensorClock(coefficients, state));
      if (state.rateKnown) state.periodBeforeS = state.rate!.periodS;
      state.rate = null;
      state.restarting = true;
      state.last = null;
    } else {
      ({ ticks, doubted } = unwrapped);
      if (unwrapped.paused) {
        // A straight line through a pause would give a wrong rate.
        timings.push(...finishSensorClock(coefficients, state));
        jumpAllowed = true;
      }
    }
  }
  if (state.last === null) state.firstTick = packet.tick;
  const { firstIndex, hostTimeS } = packet;
  state.last = {
    tick: doubted ? (state.firstTick + ticks) % tickRange : packet.tick,
    ticks,
    firstIndex,
    hostTimeS,
    doubted,
  };
  const deviceS = doubted ? null : ticks * coefficients.tickUnitS;
  if (state.rate === null) {
    state.held.push({ deviceS, packet });
    if (state.held.length >= coefficients.params.warmUpPackets) timings.push(...startSegment(coefficients, state));
    return timings;
  }
  const jumped = stepRate(coefficients.rate, state.rate, { index: firstIndex, deviceS }, jumpAllowed);
  timings.push(timePacket(coefficients, state, packet, 0, false, jumped));
  return timings;
}

/** Times what is still held, by what is known; changes `state`. */
export function finishSensorClock(coefficients: SensorClockCoefficients, state: SensorClockState): PacketTiming[] {
  return state.held.length > 0 ? startSegment(coefficients, state) : [];
}

/** @returns rows per second of device time with its standard error, or null before two packets of a segment. */
export function estimateSampleRate(state: SensorClockState): { sampleRateHz: number; standardErrorHz: number } | null {
  const { rate } = state;
  if (rate === null || !state.rateKnown) return null;
  return { sampleRateHz: 1 / rate.periodS, standardErrorHz: Math.sqrt(rate.periodVariance) / rate.periodS ** 2 };
}

/** @returns what the clock knows by now, frozen. */
export function estimateSensorClock(coefficients: SensorClockCoefficients, state: SensorClockState): ClockEstimate {
  const { host } = state;
  const rate = estimateSampleRate(state);
  const line = host === null ? null : hostLineNow(coefficients.params, host);
  return Object.freeze({
    sampleRateHz: rate?.sampleRateHz ?? null,
    sampleRateStandardErrorHz: rate?.standardErrorHz ?? null,
    host:
      host === null || line === null
        ? null
        : Object.freeze({
            referenceS: line.referenceS,
            hostTimeS: host.baseS + line.referenceS + line.offsetS,
            hostTimeStandardErrorS: line.offsetStandardErrorS,
            driftPpm: line.drift * 1e6,
            driftStandardErrorPpm: line.driftStandardError * 1e6,
          }),
    segments: Object.freeze([...state.segments]),
  });
}

/** Times the held packets together and starts the segment. */
function startSegment(coefficients: SensorClockCoefficients, state: SensorClockState): PacketTiming[] {
  const { held } = state;
  const stamps = held.flatMap(({ packet, deviceS }) =>
    deviceS === null ? [] : [{ index: packet.firstIndex, deviceS }],
  );
  const rate = fitFirstStamps(coefficients.rate, stamps, state.periodBeforeS ?? coefficients.nominalPeriodS);
  const timeOf = (index: number) => rate.timeS + (index - rate.index) * rate.periodS;
  state.rate = rate;
  state.rateKnown = stamps.length > 1;
  state.zeroS = timeOf(held[0]!.packet.firstIndex);
  const start = state.restarting ? placeRestart(coefficients, state, held, rate) : { startS: 0, standardErrorS: 0 };
  state.startS = start.startS;
  state.segments.push(
    Object.freeze({
      startS: start.startS,
      startStandardErrorS: start.standardErrorS,
      zeroTick: state.firstTick + state.zeroS / coefficients.tickUnitS,
    }),
  );
  if (state.segments.length > maxSegments) state.segments.shift();
  const restarting = state.restarting;
  state.held = [];
  state.restarting = false;
  return held.map(({ packet }, at) => {
    const back = (packet.firstIndex - rate.index) * rate.periodS;
    return timePacket(coefficients, state, packet, back, restarting && at === 0, false);
  });
}

/** Recording time of a new segment's first row: by the host's clock, from the earliest of the held notifications. */
function placeRestart(
  coefficients: SensorClockCoefficients,
  state: SensorClockState,
  held: readonly HeldPacket[],
  rate: RateState,
): { startS: number; standardErrorS: number | null } {
  const { host } = state;
  const earliestAllowedS = (state.lastRowS ?? 0) + rate.periodS;
  let leastS = Number.POSITIVE_INFINITY;
  for (const { packet } of held) {
    if (packet.hostTimeS === null) continue;
    const lastRow = packet.firstIndex + packet.count - 1;
    const sinceStartS = rate.timeS + (lastRow - rate.index) * rate.periodS - state.zeroS;
    leastS = Math.min(leastS, packet.hostTimeS - sinceStartS);
  }
  if (host === null || leastS === Number.POSITIVE_INFINITY) {
    state.host = null;
    return { startS: earliestAllowedS, standardErrorS: null };
  }
  const line = hostLineNow(coefficients.params, host)!;
  const runsKnown = host.runs >= 3;
  const delayS = runsKnown ? host.runMeanS : 0;
  const delayErrorS = runsKnown ? Math.sqrt(host.runVarianceS2) : coefficients.params.unknownDelayS;
  const excessS = leastS - host.baseS - delayS - line.offsetS;
  const startS = line.referenceS + (excessS - line.referenceS) / (1 + line.drift);
  const reachS = startS - line.referenceS;
  const standardErrorS = Math.hypot(delayErrorS, line.offsetStandardErrorS, reachS * line.driftStandardError);
  // The crystal stays the same; where the new ticks lie on it is only known to the error above.
  const prior = { drift: line.drift, standardError: Math.max(line.driftStandardError, 1e-6) };
  state.host = {
    ...emptyHost(host.baseS, prior),
    runs: host.runs,
    runMeanS: host.runMeanS,
    runVarianceS2: host.runVarianceS2,
  };
  return { startS: Math.max(startS, earliestAllowedS), standardErrorS };
}

function timePacket(
  coefficients: SensorClockCoefficients,
  state: SensorClockState,
  packet: ClockPacket,
  backS: number,
  afterRestart: boolean,
  afterJump: boolean,
): PacketTiming {
  const { periodS, timeS } = state.rate!;
  // A jump backward must not turn time around: rows then come half a period apart until the ticks have caught up.
  const earliestS = state.lastRowS === null ? Number.NEGATIVE_INFINITY : state.lastRowS + 0.5 * periodS;
  const firstTimeS = Math.max(state.startS + timeS + backS - state.zeroS, earliestS);
  const lastRowS = firstTimeS + (packet.count - 1) * periodS;
  state.lastRowS = lastRowS;
  if (packet.hostTimeS !== null) {
    const prior = { drift: 0, standardError: coefficients.params.driftPriorPpm * 1e-6 };
    state.host ??= emptyHost(packet.hostTimeS - lastRowS, prior);
    stepHost(coefficients.params, state.host, packet.hostTimeS, lastRowS);
  }
  return Object.freeze({ firstTimeS, periodS, count: packet.count, afterRestart, afterJump });
}
