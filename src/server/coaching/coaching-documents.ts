import type { Bands } from '../../coaching/bands.ts';
import { bandedMeasures } from '../../coaching/bands.ts';
import { drillPictures } from '../../coaching/drill-pictures/drill-pictures.ts';
import { type Drill, drillLibrary, drillsFor } from '../../coaching/drills.ts';
import { ruleOf, type SensorPlace } from '../../coaching/fault-rules.ts';
import { type FaultFinding, readWatch } from '../../coaching/fault-watch.ts';
import { describeFault } from '../../coaching/fault-words.ts';
import { implausibleMeasures } from '../../coaching/plausibility.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { ShotSetLine } from '../../sessions/database/coaching-records.ts';
import type { Player } from '../../sessions/database/player-records.ts';
import type { DrillAnswer, FindingAnswer, PlayerCoachingAnswer, PlayerSetAnswer } from './answer-types.ts';
import { ageYearsOf, placesOf, stageOf, watchPractice } from './player-watch.ts';

/** What a finding comes to in a word. */
export function stateOfFinding({ named, evidence, border }: FaultFinding): FindingAnswer['state'] {
  return named ? 'named' : evidence >= Math.sqrt(border) ? 'signs' : 'nothing';
}

/** What is seen of a player in one practice. */
export async function playerCoachingDocument(
  store: ClubStore,
  player: Player,
  sessionId: string | null,
): Promise<PlayerCoachingAnswer> {
  const stage = stageOf(player);
  const head = {
    playerId: player.id,
    sessionId,
    stage: { name: stage.name, fromAge: stage.fromAge, inWords: stage.inWords, source: stage.source },
  };
  if (sessionId === null) {
    return { ...head, shots: 0, places: [], findings: [], notes: ['The player has not shot in any practice yet.'] };
  }
  const { coefficients, state, shots } = await watchPractice(store, player, sessionId);
  const places = await placesOf(store, shots);
  const own = (await store.coaching.drills()).flatMap(({ drill, retiredS }) => (retiredS === null ? [drill] : []));
  const findings = readWatch(coefficients, state).map((finding) => findingDocument(finding, places, player, own));
  return { ...head, shots: shots.length, places, findings, notes: notesOf(coefficients.bands, shots, stage.faults) };
}

function notesOf(
  bands: Bands,
  shots: readonly { readonly result: { readonly shot: Parameters<typeof implausibleMeasures>[0] } }[],
  faults: readonly string[],
): string[] {
  const notes: string[] = [];
  if (faults.length === 0) notes.push('At this age nothing is called a fault.');
  if (faults.length > 0 && bandedMeasures.every((measure) => bands[measure].from === 'default')) {
    notes.push(
      'Bands are the usual ones, not the player’s own: call two sets or more the best ones, of 20 shots together, or set them by hand.',
    );
  }
  const impossible = new Map<string, number>();
  for (const { result } of shots) {
    for (const { measure, what } of implausibleMeasures(result.shot)) {
      if (what === 'impossible') impossible.set(measure, (impossible.get(measure) ?? 0) + 1);
    }
  }
  for (const [measure, count] of impossible) {
    notes.push(
      `${measure}: ${count} of ${shots.length} shots have a number that cannot be, and were left out. Look at the distance and the height of the ring that are set, and at the sensor.`,
    );
  }
  return notes;
}

export function findingDocument(
  finding: FaultFinding,
  places: readonly SensorPlace[],
  player: Player,
  own: readonly Drill[],
): FindingAnswer {
  const words = describeFault(finding, places, player.hand);
  return {
    name: finding.name,
    state: stateOfFinding(finding),
    namedAtShot: finding.namedAtShot,
    evidence: finding.evidence,
    border: finding.border,
    title: words.title,
    saw: [...words.saw],
    confidence: words.confidence,
    seenBy: [...words.seenBy],
    notSeenBy: [...words.notSeenBy],
    otherExplanations: [...words.otherExplanations],
    source: ruleOf(finding.name).source,
    parts: finding.parts.map(({ part, shots, estimate, interval95, low, high, evidence }) => ({
      measure: part.measure,
      kind: part.kind,
      group: part.kind === 'contrast' ? part.group : null,
      side: part.side,
      shots,
      estimate,
      interval95: interval95 === null ? null : [interval95[0], interval95[1]],
      low,
      high,
      evidence,
    })),
    drills: drillsFor(finding.name, ageYearsOf(player), own).map(({ name }) => name),
  };
}

export function drillDocument(drill: Drill): DrillAnswer {
  const picture = drillPictures[drill.name];
  return {
    ...drill,
    own: !drillLibrary.some(({ name }) => name === drill.name),
    forFaults: [...drill.forFaults],
    steps: [...drill.steps],
    progressions: [...drill.progressions],
    cautions: [...drill.cautions],
    dose: { ...drill.dose },
    moves: { ...drill.moves },
    ...(picture && { picture: structuredClone(picture) as NonNullable<DrillAnswer['picture']> }),
  };
}

export function bandDocuments(bands: Bands) {
  return bandedMeasures.map((measure) => ({ measure, ...bands[measure] }));
}

export function playerSetDocument({ set, shots, makes, misses }: ShotSetLine): PlayerSetAnswer {
  const total =
    set.total_made === null || set.total_attempted === null
      ? null
      : { makes: set.total_made, attempts: set.total_attempted };
  return {
    ...{ id: set.id, sessionId: set.session_id, kind: set.kind, name: set.name, spot: set.spot },
    ...{ distanceM: set.distance_m, startedS: set.started_s, shots },
    made: makes + misses > 0 ? { makes, attempts: makes + misses } : total,
  };
}
