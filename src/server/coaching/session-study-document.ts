import { type BandRow, bandedMeasures, bandTable } from '../../coaching/bands.ts';
import { driftDirection, sessionDrift, type UsualLevel } from '../../coaching/session-drift.ts';
import { compareStarts, type StartComparison } from '../../coaching/start-similarity.ts';
import { numberText, shownMeasure, withUnit } from '../../reports/shown-measure.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Player } from '../../sessions/database/player-records.ts';
import type { StoredShot } from '../../sessions/database/shot-records.ts';
import type { ShotMeasureName } from '../../shots/shot.ts';
import { findBreak } from '../../study/break-point.ts';
import { isInsufficient } from '../../study/checks.ts';
import { summarizeAngles } from '../../study/circular.ts';
import { mean, median, robustSpread } from '../../study/descriptive.ts';
import { ownSpread } from '../../study/own-spread.ts';
import type { RandomSource } from '../../study/random-source.ts';
import type { SessionStudyAnswer } from './answer-types.ts';
import { distancesOf } from './player-watch.ts';

const radiansPerDegree = Math.PI / 180;
/** A level from fewer shots than these before is no usual level. */
const usualShots = 30;
/** Correlation of neighbouring shots that charts allow for; no source for shots was found. */
const serialCorrelation = 0.25;
/** The time that has one meaning from every distance. */
const rangeMeasure = 'liftToReleaseS';

/** A player's practice as a whole: drift, own spread, starts, and range. */
export async function sessionStudyDocument(
  store: ClubStore,
  player: Player,
  sessionId: string,
  random: RandomSource,
): Promise<SessionStudyAnswer> {
  const shots = await store.shots.all({ sessionId, playerId: player.id });
  const first = shots[0];
  const before = first ? await earlierShots(store, player.id, first.at_s) : [];
  const shown = (measure: ShotMeasureName) => shownMeasure(measure, { units: player.units, spin: 'rev/s' });
  const angles = valuesOf(shots, 'axisTiltDeg').map(({ value }) => value * radiansPerDegree);
  const tilt = summarizeAngles(angles);
  return {
    playerId: player.id,
    sessionId,
    shots: shots.length,
    drift: bandedMeasures.flatMap((measure): SessionStudyAnswer['drift'] =>
      driftOf(shots, before, measure, shown(measure)),
    ),
    consistency: bandedMeasures.flatMap((measure): SessionStudyAnswer['consistency'] => {
      const known = valuesOf(shots, measure);
      if (known.length === 0) return [];
      const spread = ownSpread(
        known.map(({ value }) => value),
        known.map(({ standardError }) => standardError),
      );
      return isInsufficient(spread)
        ? [{ measure, shots: known.length, ...noSpread, reason: spread.reason }]
        : [
            {
              ...{ measure, shots: known.length, spread: spread.spread, measuredSpread: spread.measuredSpread },
              interval90: [spread.interval[0], spread.interval[1]] as [number, number],
              ...{ sensorError: spread.sensorError, reason: null },
            },
          ];
    }),
    tilt: isInsufficient(tilt)
      ? null
      : {
          shots: tilt.count,
          meanDeg: tilt.meanRad / radiansPerDegree,
          spreadDeg: tilt.spreadRad / radiansPerDegree,
          resultant: tilt.resultant,
        },
    starts: compareStarts(shots.map(({ result }) => result.shot)).map((comparison) => ({
      measure: comparison.measure,
      one: comparison.one,
      two: comparison.two,
      shots: [comparison.shots[0], comparison.shots[1]] as [number, number],
      margin: comparison.margin,
      answer: comparison.answer,
      difference: isInsufficient(comparison.result) ? null : comparison.result.difference,
      interval90: isInsufficient(comparison.result)
        ? null
        : ([comparison.result.interval[0], comparison.result.interval[1]] as [number, number]),
      sentence: startSentence(comparison, shown(comparison.measure)),
    })),
    range: rangeOf(shots, await distancesOf(store, sessionId), shown(rangeMeasure), random),
  };
}

const noSpread = { spread: null, interval90: null, measuredSpread: null, sensorError: null };

/** Shots of the player before an instant, the last two hundred at most. */
async function earlierShots(store: ClubStore, playerId: string, untilS: number): Promise<StoredShot[]> {
  const shots = await store.shots.all({ playerId, untilS });
  return shots.slice(-200);
}

function valuesOf(shots: readonly StoredShot[], measure: ShotMeasureName) {
  return shots.flatMap(({ result }) => {
    const given = result.shot.measures[measure];
    return given == null || given.value === null ? [] : [given];
  });
}

type Shown = ReturnType<typeof shownMeasure>;

function driftOf(
  shots: readonly StoredShot[],
  before: readonly StoredShot[],
  measure: ShotMeasureName,
  shown: Shown,
): SessionStudyAnswer['drift'] {
  const values = valuesOf(shots, measure).map(({ value }) => value);
  if (values.length === 0) return [];
  const earlier = valuesOf(before, measure).map(({ value }) => value);
  const usual: UsualLevel | null =
    earlier.length >= usualShots ? { level: median(earlier), spread: robustSpread(earlier), serialCorrelation } : null;
  const drift = sessionDrift(values, usual);
  const direction = driftDirection(drift);
  const { per50Shots, firstSignal } = drift;
  const head = { measure, shots: values.length, direction, firstSignal };
  if (isInsufficient(per50Shots)) {
    const sentence = `${shown.label}: nothing to say of a change over the practice, ${per50Shots.reason}.`;
    return [{ ...head, per50Shots: null, interval: null, reason: per50Shots.reason, sentence }];
  }
  const [low, high] = per50Shots.interval;
  const range = `between ${numberText(low, shown)} and ${withUnit(high, shown)}`;
  const told = withUnit(per50Shots.slope, shown);
  const sentence =
    direction === 'none-seen'
      ? `${shown.label}: no change over the practice is seen; it may be anything ${range} in 50 shots, which is not “none”.`
      : `${shown.label}: it went ${direction} by ${told} in 50 shots (${range}).`;
  return [{ ...head, per50Shots: per50Shots.slope, interval: [low, high], reason: null, sentence }];
}

function startSentence({ one, two, answer, result, shots, margin }: StartComparison, shown: Shown): string {
  const name = `${shown.label}, ${one} against ${two}`;
  if (isInsufficient(result)) return `${name}: too few shots to say, ${shots[0]} and ${shots[1]}.`;
  const [low, high] = result.interval;
  const range = `${withUnit(result.difference, shown)}, between ${numberText(low, shown)} and ${withUnit(high, shown)}`;
  const within = withUnit(margin, shown);
  if (answer === 'same') return `${name}: the same shot, within ${within} (${range}).`;
  if (answer === 'different') return `${name}: not the same shot, by more than ${within} (${range}).`;
  return `${name}: open (${range}; within ${within} it would be the same).`;
}

/** Where the pattern breaks with the distance; needs sets with told distances, best shot in random order. */
export function rangeOf(
  shots: readonly StoredShot[],
  distances: ReadonlyMap<string, number | null>,
  shown: Shown,
  random: RandomSource,
): SessionStudyAnswer['range'] {
  const places: number[] = [];
  const values: number[] = [];
  for (const { set_id, result } of shots) {
    const distanceM = set_id === null ? null : (distances.get(set_id) ?? null);
    const given = result.shot.measures[rangeMeasure];
    if (distanceM === null || given == null || given.value === null) continue;
    places.push(distanceM);
    values.push(given.value);
  }
  const head = { measure: rangeMeasure, shots: values.length };
  const found = findBreak(places, values, random);
  if (isInsufficient(found)) {
    const sentence = `Range: nothing to say, ${found.reason}. Sets with told distances are needed, from at least three of them.`;
    return { ...head, answer: 'open', atM: null, intervalM: null, p: null, sentence };
  }
  const row: BandRow = bandTable[rangeMeasure];
  // What it comes to at the farthest place, against what would matter.
  const farthest = Math.max(...places);
  const change = found.slope * (farthest - found.at);
  const [low, high] = found.interval;
  const told = { atM: found.at, intervalM: [low, high] as [number, number], p: found.p };
  const where = `from ${found.at.toFixed(1)} m on (95 %: ${low.toFixed(1)} to ${high.toFixed(1)} m)`;
  if (found.p > 0.05) {
    const sentence = `Range: no distance is seen at which the shot changes, from ${Math.min(...places).toFixed(1)} to ${farthest.toFixed(1)} m (p = ${found.p.toFixed(2)}); that is not the same as none.`;
    return { ...head, ...told, answer: 'no-break-seen', sentence };
  }
  const matters = Math.abs(change) >= row.leastHalfWidth;
  const level = withUnit(mean(values), shown);
  const sentence = `Range: ${shown.label.toLowerCase()}, ${level} on average, changes ${where}, by ${withUnit(change, shown)} at ${farthest.toFixed(1)} m${matters ? '' : ', less than would matter'}.`;
  return { ...head, ...told, answer: matters ? 'break' : 'no-break-seen', sentence };
}
