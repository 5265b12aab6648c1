import { type AgeStage, stageOfAge } from '../../coaching/age-stages.ts';
import { type BandedMeasure, type Bands, bandedMeasures, bandsFor, type CoachBand } from '../../coaching/bands.ts';
import { bestSetsOf } from '../../coaching/best-sets.ts';
import type { SensorPlace } from '../../coaching/fault-rules.ts';
import {
  deriveWatch,
  initialWatch,
  stepWatch,
  type WatchCoefficients,
  type WatchState,
} from '../../coaching/fault-watch.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Player } from '../../sessions/database/player-records.ts';
import type { StoredShot } from '../../sessions/database/shot-records.ts';
import type { MergedShot } from '../../shots/merge/merge-shots.ts';
import type { Shot } from '../../shots/shot.ts';

/** Youngest age of each band: what is looked at, and who is told, goes by it. */
const youngestYears: Readonly<Record<Player['age_band'], number>> = {
  'under-10': 6,
  '10-12': 10,
  '13-15': 13,
  '16-18': 16,
  adult: 18,
};

export function ageYearsOf({ age_band }: Pick<Player, 'age_band'>): number {
  return youngestYears[age_band];
}

export function stageOf(player: Pick<Player, 'age_band'>): AgeStage {
  return stageOfAge(ageYearsOf(player));
}

/** Which kind of sensor a shot's path and times are of: numbers of ball and arm are not one level of one measure. */
export function seerOf(shot: Shot): 'ball' | 'arm' {
  const { timesOf } = shot as Shot & Partial<MergedShot>;
  if (timesOf !== undefined) return timesOf === 'ball' ? 'ball' : 'arm';
  const flight = shot.measures.launchSpeedMps;
  return flight.value === null && flight.reason === 'not-observable-from-wrist' ? 'arm' : 'ball';
}

/** The kind of sensor that most of these shots are of; the ball where they are as many, or none. */
export function mostlySeenBy(shots: readonly StoredShot[]): 'ball' | 'arm' {
  const balls = shots.filter(({ result }) => seerOf(result.shot) === 'ball').length;
  return 2 * balls >= shots.length ? 'ball' : 'arm';
}

/** The kind of sensor that saw most of the player's newest practice. */
export async function newestSeer(store: ClubStore, playerId: string): Promise<'ball' | 'arm'> {
  const sessionId = await store.shots.newestSessionOf(playerId);
  return mostlySeenBy(sessionId === null ? [] : await store.shots.all({ sessionId, playerId }));
}

/** Where the sensors of these shots sat, as far as they said so. */
export async function placesOf(store: ClubStore, shots: readonly StoredShot[]): Promise<SensorPlace[]> {
  const sensors = await store.players.sensors();
  const placeOf = new Map(sensors.map(({ id, placement }) => [id, placement]));
  const found = new Set<SensorPlace>();
  for (const { sensor_id, result } of shots) {
    const { ball, wrist } = result.shot as Shot & Partial<MergedShot>;
    if (ball) found.add('ball');
    for (const id of [sensor_id, wrist?.sensorId]) {
      const placement = id == null ? undefined : placeOf.get(id);
      if (placement === 'ball' || placement === 'back-of-hand') found.add(placement);
      if (placement === 'wrist-forearm') found.add('forearm');
    }
    if (seerOf(result.shot) === 'ball' && found.size === 0) found.add('ball');
  }
  return (['ball', 'forearm', 'back-of-hand'] as const).filter((place) => found.has(place));
}

/**
 * Bands of a player: by hand, else from the best sets, else the defaults. Of the best sets only shots count that the same kind of sensor
 * saw.
 */
export async function bandsOf(store: ClubStore, playerId: string, seer: 'ball' | 'arm'): Promise<Bands> {
  const coach: Partial<Record<BandedMeasure, CoachBand>> = {};
  for (const { measure, target, low, high } of await store.coaching.targets(playerId)) {
    if (!isBanded(measure)) continue;
    coach[measure] = {
      ...(target !== null && { target }),
      ...(low !== null && { low }),
      ...(high !== null && { high }),
    };
  }
  const setIds = await store.coaching.bestSets(playerId);
  const sets: StoredShot[][] = [];
  for (const setId of setIds) {
    const shots = await store.shots.all({ setId, playerId });
    sets.push(shots.filter(({ result }) => seerOf(result.shot) === seer));
  }
  return bandsFor(coach, bestSetsOf(sets.map((shots) => shots.map(({ result }) => result.shot))));
}

export function isBanded(measure: string): measure is BandedMeasure {
  return (bandedMeasures as readonly string[]).includes(measure);
}

/** A player's practice as the watch has seen it so far. */
export interface WatchedPractice {
  readonly coefficients: WatchCoefficients;
  readonly state: WatchState;
  readonly shots: readonly StoredShot[];
}

/** Leads every stored shot of a player in a practice through the watch, as live. */
export async function watchPractice(store: ClubStore, player: Player, sessionId: string): Promise<WatchedPractice> {
  const shots = await store.shots.all({ sessionId, playerId: player.id });
  const distances = await distancesOf(store, sessionId);
  const coefficients = deriveWatch(await bandsOf(store, player.id, mostlySeenBy(shots)), ageYearsOf(player));
  let state = initialWatch;
  for (const shot of shots) state = stepStored(coefficients, state, shot, distances);
  return { coefficients, state, shots };
}

/** @returns told distance of each set of a practice. */
export async function distancesOf(store: ClubStore, sessionId: string): Promise<ReadonlyMap<string, number | null>> {
  const sets = await store.sessions.sets(sessionId);
  return new Map(sets.map(({ id, distance_m }) => [id, distance_m]));
}

export function stepStored(
  coefficients: WatchCoefficients,
  state: WatchState,
  { result, set_id }: Pick<StoredShot, 'result' | 'set_id'>,
  distances: ReadonlyMap<string, number | null>,
): WatchState {
  const distanceM = set_id === null ? null : (distances.get(set_id) ?? null);
  return stepWatch(coefficients, state, { shot: result.shot, distanceM });
}
