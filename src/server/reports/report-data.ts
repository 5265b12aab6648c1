import { bandsFor } from '../../coaching/bands.ts';
import { drillLibrary } from '../../coaching/drills.ts';
import type { SensorPlace } from '../../coaching/fault-rules.ts';
import { deriveWatch, type FaultFinding, initialWatch, readWatch, stepWatch } from '../../coaching/fault-watch.ts';
import { type LoadSummary, summarizeLoad } from '../../coaching/load.ts';
import { SeamwiseError } from '../../foundation/errors.ts';
import type {
  Audience,
  PlayerReportInput,
  ReportDay,
  ReportFrame,
  ReportPlayer,
  ReportShot,
  SessionReportInput,
} from '../../reports/report-input.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Player } from '../../sessions/database/player-records.ts';
import type { Session, SetWithFactors } from '../../sessions/database/session-records.ts';
import type { StoredShot } from '../../sessions/database/shot-records.ts';
import type { ageBands } from '../../sessions/database/tables.ts';
import { measureDefinitions } from '../../shots/measure-definitions.ts';
import { type ShotMeasureName, shotMeasureNames } from '../../shots/shot.ts';

/** Youngest age of a band: what is looked at goes by it. */
const youngest: Readonly<Record<(typeof ageBands)[number], number>> = {
  'under-10': 6,
  '10-12': 10,
  '13-15': 13,
  '16-18': 16,
  adult: 18,
};

export interface ReportRequest {
  readonly audience: Audience;
  readonly timeZone: string;
  readonly madeS: number;
  readonly programVersion: string;
}

/**
 * Everything that a report of a practice says, from the database.
 *
 * @param playerId whose shots alone; null for all of them together, of whom nothing is judged.
 * @throws SeamwiseError `store-missing`.
 */
export async function sessionReportData(
  store: ClubStore,
  sessionId: string,
  playerId: string | null,
  request: ReportRequest,
): Promise<SessionReportInput> {
  const session = await store.sessions.get(sessionId);
  const everyShot = await store.shots.all({ sessionId });
  const told = [...new Set(everyShot.flatMap(({ player_id }) => (player_id === null ? [] : [player_id])))];
  // A practice in which one player alone shot is that player's.
  const only =
    playerId ?? (told.length === 1 && everyShot.every(({ player_id }) => player_id !== null) ? told[0]! : null);
  const player = only === null ? null : await store.players.get(only);
  if (player !== null && !told.includes(player.id)) {
    throw new SeamwiseError('store-missing', `${player.pseudonym} has no shot in this session`);
  }
  const shots = player === null ? everyShot : everyShot.filter(({ player_id }) => player_id === player.id);
  const allSets = await store.sessions.sets(sessionId);
  const sets =
    player === null ? allSets : allSets.filter(({ player_id }) => player_id === null || player_id === player.id);
  const bands = bandsFor();
  return {
    ...frameOf(request, player, session.time_zone),
    name: session.name,
    startedS: session.started_s,
    endedS: session.ended_s,
    simulated: session.simulated !== 0,
    player: player === null ? null : personOf(player),
    places: await placesOf(store, shots),
    shots: shots.map(reportShot),
    sets: sets.map((set) => reportSet(set, shots)),
    bands,
    findings: player === null ? [] : findingsOf(shots, sets, player),
    drills: drillLibrary,
    load: player === null ? null : await loadOf(store, player, session.ended_s ?? request.madeS, session.time_zone),
    analysisVersions: [...new Set(shots.map(({ result }) => result.analysisVersion))].sort(),
  };
}

/** Everything that a report of a player over time says. @throws SeamwiseError `store-missing`. */
export async function playerReportData(
  store: ClubStore,
  playerId: string,
  request: ReportRequest,
): Promise<PlayerReportInput> {
  const player = await store.players.get(playerId);
  const shots = await store.shots.all({ playerId });
  const bySession = groupBySession(shots);
  const days: ReportDay[] = [];
  for (const [sessionId, own] of bySession) {
    const session = await store.sessions.get(sessionId);
    const sets = (await store.sessions.sets(sessionId)).filter(({ player_id }) => player_id === player.id);
    days.push(dayOf(session, own, sets));
  }
  days.sort((a, b) => a.startedS - b.startedS);
  return {
    ...frameOf(request, player, request.timeZone),
    player: personOf(player),
    days,
    bands: bandsFor(),
    proofs: [],
    load: await loadOf(store, player, request.madeS, request.timeZone),
  };
}

function groupBySession(shots: readonly StoredShot[]): Map<string, StoredShot[]> {
  const groups = new Map<string, StoredShot[]>();
  for (const shot of shots) {
    const group = groups.get(shot.session_id);
    if (group === undefined) groups.set(shot.session_id, [shot]);
    else group.push(shot);
  }
  return groups;
}

function frameOf(
  { audience, madeS, programVersion }: ReportRequest,
  player: Player | null,
  timeZone: string,
): ReportFrame {
  return {
    audience,
    units: { units: player?.units ?? 'metric', spin: 'rev/s' },
    madeS,
    timeZone,
    programVersion,
    definitions: measureDefinitions,
  };
}

function personOf({ pseudonym, hand, age_band }: Player): ReportPlayer {
  return { pseudonym, hand, ageYears: youngest[age_band] };
}

function reportShot({ at_s, outcome, result }: StoredShot): ReportShot {
  return { atS: at_s, outcome, shot: result.shot };
}

function reportSet(set: SetWithFactors, shots: readonly StoredShot[]): SessionReportInput['sets'][number] {
  const own = shots.filter(({ set_id }) => set_id === set.id);
  return {
    name: set.name,
    kind: set.kind,
    spot: set.spot,
    distanceM: set.distance_m,
    conditions: set.factors.map(({ factor, level }) => ({ factor, level })),
    shots: own.length,
    made: madeOf(own, [set]),
  };
}

/** Single outcomes where there are any, else the totals that a person noted. */
function madeOf(shots: readonly StoredShot[], sets: readonly SetWithFactors[]) {
  const counted = shots.filter(({ outcome }) => outcome !== 'unknown');
  if (counted.length > 0) {
    return { makes: counted.filter(({ outcome }) => outcome === 'make').length, attempts: counted.length };
  }
  const totals = sets.filter(({ total_attempted }) => total_attempted !== null && total_attempted > 0);
  if (totals.length === 0) return null;
  return {
    makes: totals.reduce((sum, { total_made }) => sum + (total_made ?? 0), 0),
    attempts: totals.reduce((sum, { total_attempted }) => sum + (total_attempted ?? 0), 0),
  };
}

function findingsOf(
  shots: readonly StoredShot[],
  sets: readonly SetWithFactors[],
  player: Player,
): readonly FaultFinding[] {
  const distances = new Map(sets.map(({ id, distance_m }) => [id, distance_m]));
  const coefficients = deriveWatch(bandsFor(), youngest[player.age_band]);
  const state = shots.reduce(
    (last, { result, set_id }) =>
      stepWatch(coefficients, last, {
        shot: result.shot,
        distanceM: set_id === null ? null : (distances.get(set_id) ?? null),
      }),
    initialWatch,
  );
  return readWatch(coefficients, state);
}

function dayOf(session: Session, shots: readonly StoredShot[], sets: readonly SetWithFactors[]): ReportDay {
  const values: Partial<Record<ShotMeasureName, { values: number[]; standardErrors: number[] }>> = {};
  for (const name of shotMeasureNames) {
    const known = shots.flatMap(({ result }) => {
      const told = result.shot.measures[name];
      return told === undefined || told.value === null ? [] : [told];
    });
    if (known.length === 0) continue;
    values[name] = {
      values: known.map(({ value }) => value),
      standardErrors: known.map(({ standardError }) => standardError),
    };
  }
  return {
    startedS: session.started_s,
    simulated: session.simulated !== 0,
    shots: shots.length,
    made: madeOf(shots, sets),
    values,
  };
}

/** Where the sensors of these shots sit, as far as they said so. */
async function placesOf(store: ClubStore, shots: readonly StoredShot[]): Promise<readonly SensorPlace[]> {
  const ids = new Set(shots.map(({ sensor_id }) => sensor_id));
  const sensors = (await store.players.sensors()).filter(({ id }) => ids.has(id));
  const places = sensors.flatMap(({ placement }): SensorPlace[] =>
    placement === 'ball'
      ? ['ball']
      : placement === 'wrist-forearm'
        ? ['forearm']
        : placement === 'back-of-hand'
          ? ['back-of-hand']
          : [],
  );
  // A number of the arm beside one of the ball: both were there, whichever of them the shot is filed under.
  const seen = (name: ShotMeasureName) => shots.some(({ result }) => result.shot.measures[name]?.value != null);
  if (seen('launchSpeedMps')) places.push('ball');
  if (seen('forearmElevationDeg')) places.push('forearm');
  return [...new Set(places)];
}

/** Shots of the days of the player up to an instant, by the calendar of the place. */
async function loadOf(store: ClubStore, player: Player, untilS: number, timeZone: string): Promise<LoadSummary> {
  const shots = await store.shots.all({ playerId: player.id, fromS: untilS - 15 * 86_400, untilS: untilS + 1 });
  const dayNumber = (atS: number) => {
    const [day = 1, month = 1, year = 1970] = new Intl.DateTimeFormat('en-GB', { timeZone })
      .format(atS * 1000)
      .split('/')
      .map(Number);
    return Math.round(Date.UTC(year, month - 1, day) / 86_400_000);
  };
  const days = new Map<number, { first: number; last: number; shots: number }>();
  for (const { at_s } of shots) {
    const day = dayNumber(at_s);
    const known = days.get(day);
    days.set(day, { first: known?.first ?? at_s, last: at_s, shots: (known?.shots ?? 0) + 1 });
  }
  const load = [...days].map(([day, { first, last, shots: count }]) => ({
    day,
    shots: count,
    minutes: (last - first) / 60,
  }));
  return summarizeLoad(load, dayNumber(untilS), youngest[player.age_band]);
}
