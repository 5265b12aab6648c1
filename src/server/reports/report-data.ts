import { bandsFor } from '../../coaching/bands.ts';
import { judgeDrill } from '../../coaching/drill-proof.ts';
import { drillLibrary } from '../../coaching/drills.ts';
import { readWatch } from '../../coaching/fault-watch.ts';
import { planFor } from '../../coaching/proof-plan.ts';
import { SeamwiseError } from '../../foundation/errors.ts';
import type {
  Audience,
  PlayerReportInput,
  ReportDay,
  ReportFrame,
  ReportPlayer,
  ReportProof,
  ReportShot,
  SessionReportInput,
} from '../../reports/report-input.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Player } from '../../sessions/database/player-records.ts';
import type { Session, SetWithFactors } from '../../sessions/database/session-records.ts';
import type { StoredShot } from '../../sessions/database/shot-records.ts';
import { measureDefinitions } from '../../shots/measure-definitions.ts';
import { type ShotMeasureName, shotMeasureNames } from '../../shots/shot.ts';
import { loadDocument } from '../coaching/load-document.ts';
import { ageYearsOf, bandsOf, mostlySeenBy, placesOf, watchPractice } from '../coaching/player-watch.ts';
import { proofInput } from '../coaching/proof-documents.ts';

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
  const watched = player === null ? null : await watchPractice(store, player, sessionId);
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
    bands: watched?.coefficients.bands ?? bandsFor(),
    findings: watched === null ? [] : readWatch(watched.coefficients, watched.state),
    drills: drillLibrary,
    load:
      player === null ? null : await loadDocument(store, player, session.ended_s ?? request.madeS, session.time_zone),
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
    bands: await bandsOf(store, player.id, mostlySeenBy(shots)),
    proofs: await proofsOf(store, player),
    load: await loadDocument(store, player, request.madeS, request.timeZone),
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
  return { pseudonym, hand, ageYears: ageYearsOf({ age_band }) };
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

async function proofsOf(store: ClubStore, player: Player): Promise<readonly ReportProof[]> {
  const prescriptions = await store.prescriptions.of(player.id);
  return Promise.all(
    prescriptions.map(async (prescription): Promise<ReportProof> => {
      const { question, blocks } = await proofInput(store, prescription);
      return {
        drill: prescription.drill,
        measure: prescription.measure as ShotMeasureName,
        smallestChange: prescription.smallest_change,
        verdict: judgeDrill(question, blocks),
        plan: planFor(question, blocks, ageYearsOf(player)),
      };
    }),
  );
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
