import {
  type DrillVerdict,
  judgeDrill,
  type ProofBlock,
  type ProofQuestion,
  proofNotes,
} from '../../coaching/drill-proof.ts';
import { planFor } from '../../coaching/proof-plan.ts';
import { judgeRetention, type RetentionResult } from '../../coaching/retention.ts';
import { shownMeasure } from '../../reports/shown-measure.ts';
import { verdictInWords } from '../../reports/verdict-words.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Player } from '../../sessions/database/player-records.ts';
import type { BlockWithSet, Prescription } from '../../sessions/database/prescription-records.ts';
import type { StoredShot } from '../../sessions/database/shot-records.ts';
import type { ShotMeasureName } from '../../shots/shot.ts';
import { mean, standardDeviation } from '../../study/descriptive.ts';
import type { BlockAnswer, PrescriptionAnswer, VerdictAnswer } from './answer-types.ts';
import { drillDocument } from './coaching-documents.ts';
import { dayNumber, localDate } from './local-day.ts';
import { ageYearsOf, seerOf } from './player-watch.ts';

/** From this age on a player may be told a verdict; younger ones hear it from the coach. */
const ownVerdictFromAge = 14;

/** What is to be proved, with what was shot for it. */
export interface ProofInput {
  readonly question: ProofQuestion;
  readonly blocks: readonly ProofBlock[];
  readonly documents: readonly BlockAnswer[];
}

/** Reads the blocks of a prescription with the measure that is to move. */
export async function proofInput(store: ClubStore, prescription: Prescription): Promise<ProofInput> {
  const measure = prescription.measure as ShotMeasureName;
  const rows = await store.prescriptions.blocks(prescription.id);
  const blocks: ProofBlock[] = [];
  const documents: BlockAnswer[] = [];
  const zones = new Map<string, string>();
  for (const row of rows) {
    const sessionId = row.set.session_id;
    const zone = zones.get(sessionId) ?? (await store.sessions.get(sessionId)).time_zone;
    zones.set(sessionId, zone);
    const shots = await store.shots.all({ setId: row.set_id, playerId: prescription.player_id });
    const known = knownOf(shots, measure);
    blocks.push({
      day: dayNumber(localDate(row.set.started_s, zone)),
      role: row.role,
      values: known.map(({ value }) => value),
      standardErrors: known.map(({ standardError }) => standardError),
      shots: shots.length,
      sensor: mostOften(shots.map(({ sensor_id, result }) => `${sensor_id ?? ''} ${seerOf(result.shot)}`)),
      condition: conditionOf(row, shots),
    });
    documents.push(blockDocument(row, shots.length, known));
  }
  const first = rows[0];
  const zone = first ? (zones.get(first.set.session_id) ?? 'UTC') : 'UTC';
  return {
    question: {
      faultSide: prescription.fault_side === 1 ? 1 : -1,
      smallestChange: prescription.smallest_change,
      namedOnDay: dayNumber(localDate(prescription.named_s, zone)),
    },
    blocks,
    documents,
  };
}

interface KnownValue {
  readonly value: number;
  readonly standardError: number;
}

function knownOf(shots: readonly StoredShot[], measure: ShotMeasureName): KnownValue[] {
  return shots.flatMap(({ result }) => {
    const given = result.shot.measures[measure];
    return given == null || given.value === null ? [] : [{ value: given.value, standardError: given.standardError }];
  });
}

/** Spot, distance and kind of start: what must be the same to compare. A mixture of starts is a kind of its own. */
function conditionOf({ set }: BlockWithSet, shots: readonly StoredShot[]): string {
  const starts = shots.map(({ result }) => result.shot.startKind);
  const usual = mostOften(starts);
  const share = starts.filter((kind) => kind === usual).length / Math.max(1, starts.length);
  return `${set.spot} ${set.distance_m ?? ''} ${share >= 0.8 ? usual : 'mixed'}`;
}

function mostOften(words: readonly string[]): string {
  const counts = new Map<string, number>();
  for (const word of words) counts.set(word, (counts.get(word) ?? 0) + 1);
  return [...counts].sort((a, b) => b[1] - a[1])[0]?.[0] ?? '';
}

function blockDocument(row: BlockWithSet, shots: number, known: readonly KnownValue[]): BlockAnswer {
  const values = known.map(({ value }) => value);
  const enough = values.length >= 2;
  return {
    ...{ id: row.id, setId: row.set_id, role: row.role, startedS: row.set.started_s, endedS: row.set.ended_s },
    ...{ shots, measured: values.length },
    mean: enough ? mean(values) : null,
    standardError: enough ? standardDeviation(values) / Math.sqrt(values.length) : null,
  };
}

/**
 * A prescription with what its proof says.
 *
 * @param asker `player` where a player's device asks: of players under fourteen the verdict is then withheld.
 */
export async function prescriptionDocument(
  store: ClubStore,
  prescription: Prescription,
  player: Player,
  asker: 'coach' | 'player',
): Promise<PrescriptionAnswer> {
  const { question, blocks, documents } = await proofInput(store, prescription);
  const age = ageYearsOf(player);
  const withheld =
    asker === 'player' && age < ownVerdictFromAge ? 'At this age the coach tells what became of a drill.' : null;
  const head = {
    id: prescription.id,
    playerId: prescription.player_id,
    fault: prescription.fault,
    drill: drillDocument(prescription.drill),
    measure: prescription.measure,
    faultSide: question.faultSide,
    smallestChange: prescription.smallest_change,
    madeS: prescription.made_s,
    namedS: prescription.named_s,
    retentionDueS: prescription.retention_due_s,
    endedS: prescription.ended_s,
    notes: prescription.notes,
  };
  if (withheld !== null) {
    // Means of blocks would say as much as the verdict.
    const hidden = documents.map((block) => ({ ...block, mean: null, standardError: null }));
    return { ...head, blocks: hidden, verdict: null, plan: null, retention: null, withheld };
  }
  const say = (verdict: DrillVerdict) => verdictDocument(verdict, prescription, player);
  const plan = planFor(question, blocks, age);
  const retention = judgeRetention(question, blocks);
  return {
    ...head,
    blocks: [...documents],
    verdict: say(judgeDrill(question, blocks)),
    // To a player under fourteen, and of one whose age nobody told, the plan is the coach's.
    plan: asker === 'player' && plan.audience === 'coach' ? null : { ...plan },
    retention: {
      ...{ state: retention.state, daysWithout: retention.daysWithout, sentence: retentionSentence(retention) },
      verdict: retention.verdict === null ? null : say(retention.verdict),
    },
    withheld: null,
  };
}

function verdictDocument(
  verdict: DrillVerdict,
  { measure, smallest_change }: Prescription,
  player: Player,
): VerdictAnswer {
  const shown = shownMeasure(measure as ShotMeasureName, { units: player.units, spin: 'rev/s' });
  const { notes, interval, ...rest } = verdict;
  return {
    ...rest,
    interval: interval === null ? null : [interval[0], interval[1]],
    sentence: verdictInWords({ ...verdict, notes: [] }, shown, smallest_change).join(' '),
    notes: notes.map((note) => proofNotes[note]),
  };
}

function retentionSentence({ state, daysWithout }: RetentionResult): string {
  switch (state) {
    case 'kept':
      return `What changed was still there ${daysWithout} days after the last drill.`;
    case 'lost':
      return `What changed was gone again ${daysWithout} days after the last drill, within what matters.`;
    case 'not-enough':
      return 'There are not enough days of this test yet to say whether it was kept.';
    case 'not-due':
      return 'Whether it is kept is tested five days or more after the last drill.';
  }
}
