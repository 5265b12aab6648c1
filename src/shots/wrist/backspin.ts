/**
 * Backspin of the ball from the snap of the hand: a model, not a measurement.
 *
 * spin = gain × snap peak + offset, with a wide prior until reference shots of the same player, with the sensor at the same
 * place, are known (linear-belief.ts). On the back of the hand the line goes nearly through zero; above the wrist the snap of the
 * hand itself is not seen, and hardly any of the spin depends on what is. Reference shots come from a sensor in the ball or from revolutions counted on
 * slow-motion video. The interval holds the scatter of single shots, so it never shrinks below that.
 */
import { type Measured, measured, notMeasured } from '../../foundation/measured.ts';
import { resolveParams } from '../../foundation/parameters.ts';
import type { ArmMount } from '../shot.ts';
import { type BackspinParams, backspinParams } from './backspin-params.ts';
import { believeLine, type LineBelief, type LinePoint, type LinePrior, predictLine } from './linear-belief.ts';

/** One shot whose spin is known from elsewhere. */
export interface SpinReference {
  /** Snap peak of the sensor, and its standard error. */
  readonly snapRateRadps: number;
  readonly snapRateSdRadps: number;
  /** Backspin of the ball, revolutions a second, and its standard error. */
  readonly spinRps: number;
  readonly spinSdRps: number;
  readonly place: ArmMount;
}

/** Why a reference shot is not taken. */
export const spinRefusals = {
  'spin-not-positive': 'a reference needs backspin: more than 0 revolutions a second',
  'spin-too-fast': 'no ball leaves a hand that fast',
  'spin-unsure': 'the error of the spin is missing, or as large as the spin itself',
  'no-snap': 'no snap of the hand was seen at release',
  'gain-outside': 'spin and snap do not belong together: one of them is wrong or they are from different shots',
  outlier: 'the other reference shots of this player speak against it',
} as const;
export type SpinRefusal = keyof typeof spinRefusals;

/** A calibration: the references and what they say. Plain data but for `belief`, which follows from them. */
export interface SpinModel {
  readonly place: ArmMount;
  readonly references: readonly SpinReference[];
  readonly params: BackspinParams;
  readonly belief: LineBelief;
}

export type SpinReferenceOutcome =
  | { readonly kind: 'taken'; readonly model: SpinModel }
  | { readonly kind: 'refused'; readonly reason: SpinRefusal; readonly evidence: string };

const turn = 2 * Math.PI;

/**
 * @param place of the sensor; its prior of the gain.
 * @param references taken as they are, without a check; those of another place are left out.
 * @throws SeamwiseError for parameters outside their range.
 */
export function spinModel(
  place: ArmMount,
  references: readonly SpinReference[] = [],
  params: Partial<BackspinParams> = {},
): SpinModel {
  const resolved = resolveParams(backspinParams, params);
  const own = references.filter((reference) => reference.place === place);
  const belief = believeLine(own.map(asPoint), priorOf(place, resolved));
  return Object.freeze({ place, references: Object.freeze([...own]), params: resolved, belief });
}

/**
 * Checks a reference shot and takes it.
 *
 * @returns the model with it, or the reason why it is refused, with numbers in words.
 */
export function addSpinReference(model: SpinModel, reference: SpinReference): SpinReferenceOutcome {
  const { params } = model;
  const { spinRps, spinSdRps, snapRateRadps, snapRateSdRadps } = reference;
  const refused = (reason: SpinRefusal, evidence: string): SpinReferenceOutcome => ({
    kind: 'refused',
    reason,
    evidence: `${spinRefusals[reason]} (${evidence})`,
  });
  const spin = `spin ${words(spinRps)} rev/s`;
  const snap = `snap ${words((snapRateRadps * 180) / Math.PI)} °/s`;
  // Written this way round because a comparison with NaN is false.
  if (!(spinRps > 0)) return refused('spin-not-positive', spin);
  if (!(spinRps <= params.mostSpinRps)) return refused('spin-too-fast', `${spin}, at most ${params.mostSpinRps}`);
  if (!(spinSdRps >= 0 && spinSdRps < spinRps)) {
    return refused('spin-unsure', `${spin}, standard error ${words(spinSdRps)}`);
  }
  if (!(snapRateRadps >= params.leastSnapRadps && Number.isFinite(snapRateRadps) && snapRateSdRadps >= 0)) {
    return refused('no-snap', `${snap}, at least ${words((params.leastSnapRadps * 180) / Math.PI)}`);
  }
  const gain = (spinRps * turn) / snapRateRadps;
  if (!(gain >= params.leastGain && gain <= params.mostGain)) {
    return refused(
      'gain-outside',
      `${spin} at a ${snap} is a gain of ${words(gain)}, expected ${params.leastGain} to ${params.mostGain}`,
    );
  }
  if (reference.place === model.place && model.references.length >= params.outlierFrom) {
    const expected = predictSpin(model, snapRateRadps, snapRateSdRadps, spinSdRps ** 2);
    if (expected.tailShare(spinRps) < params.outlierShare) {
      const [low, high] = expected.interval90;
      return refused('outlier', `${spin} at a ${snap}, expected ${words(low)} to ${words(high)}`);
    }
  }
  return { kind: 'taken', model: spinModel(model.place, [...model.references, reference], params) };
}

/**
 * Backspin of a shot by the model.
 *
 * @param snapRateRadps rate of the snap at release, or null where none was seen.
 * @returns revolutions a second with its interval, `source` `model` and the flag `uncalibrated` until there are references;
 *   null `no-release-seen` without a snap.
 */
export function estimateBackspin(model: SpinModel, snapRateRadps: number | null, snapRateSdRadps: number): Measured {
  if (snapRateRadps === null || !(snapRateRadps >= model.params.leastSnapRadps)) return notMeasured('no-release-seen');
  const { mean, standardDeviation, interval90 } = predictSpin(model, snapRateRadps, snapRateSdRadps, 0);
  return measured(mean, standardDeviation, {
    // Where the model knows little its lower end would be a spin that no shot has.
    interval90: [Math.max(0, interval90[0]), interval90[1]],
    source: 'model',
    ...(model.references.length === 0 && { flags: ['uncalibrated'] }),
  });
}

/** @returns gain of the ball's spin over the snap rate with its standard error. */
export function spinGain(model: SpinModel): { readonly gain: number; readonly standardError: number } {
  const { parts } = model.belief;
  const gain = parts.reduce((sum, part) => sum + part.weight * part.slope, 0);
  const variance = parts.reduce((sum, p) => sum + p.weight * (p.slopeVariance + (p.slope - gain) ** 2), 0);
  return { gain, standardError: Math.sqrt(variance) };
}

function predictSpin(model: SpinModel, snapRateRadps: number, snapRateSdRadps: number, knownVariance: number) {
  const x = snapRateRadps / turn;
  const { parts } = model.belief;
  const mean = parts.reduce((sum, part) => sum + part.weight * (part.slope * x + part.offset), 0);
  return predictLine(model.belief, x, (snapRateSdRadps / turn) ** 2, Math.max(mean, 0), knownVariance);
}

function asPoint({ snapRateRadps, snapRateSdRadps, spinRps, spinSdRps }: SpinReference): LinePoint {
  const x = snapRateRadps / turn;
  // The gain that carries the snap's error over is that of this point: near enough for an error of a few per cent.
  const carried = ((spinRps / x) * snapRateSdRadps) / turn;
  return { x, y: spinRps, knownVariance: spinSdRps ** 2 + carried ** 2, scatterScale: spinRps };
}

function priorOf(place: ArmMount, params: BackspinParams): LinePrior {
  const onHand = place === 'back-of-hand';
  const gain = onHand ? params.handGain : params.forearmGain;
  const spread = onHand ? params.handGainSpread : params.forearmGainSpread;
  const middle = Math.log(params.scatter);
  const width = Math.log(params.scatterFactor);
  return {
    slope: gain,
    // A slope or an offset known exactly would make the normal equations singular.
    slopeSd: Math.max(gain * spread, 1e-6),
    offset: onHand ? 0 : params.forearmOffsetRps,
    offsetSd: Math.max(onHand ? params.handOffsetSdRps : params.forearmOffsetSdRps, 1e-6),
    logScatterDensity: (logScatter) => -0.5 * ((logScatter - middle) / width) ** 2,
    scatterFrom: params.scatter * params.scatterFactor ** -5,
    scatterTo: params.scatter * params.scatterFactor ** 5,
  };
}

function words(value: number): string {
  return Number.isFinite(value) ? String(Number(value.toPrecision(3))) : String(value);
}
