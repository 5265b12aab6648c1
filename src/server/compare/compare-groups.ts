import type Type from 'typebox';
import type { StoredShot } from '../../sessions/database/shot-records.ts';
import { isInsufficient } from '../../study/checks.ts';
import { compareTwo, medianWithInterval, type PracticeValues } from '../../study/compare-two.ts';
import { quantile } from '../../study/descriptive.ts';
import type { compareSchema } from '../wire/compare-document.ts';
import type { ShotMeasureName, WireMeasured } from '../wire/shot-document.ts';

export interface ComparedGroup {
  readonly kind: 'player' | 'set';
  readonly id: string;
  /** In the order of time. */
  readonly shots: readonly StoredShot[];
}

type Compared = Type.Static<typeof compareSchema>;

/** Shots that are sent to be drawn, of each side: the newest ones. */
const mostDrawn = 400;
/** Measures that differ by how a shot begins, so that unlike mixtures of beginnings differ too. */
const startMeasures: ReadonlySet<ShotMeasureName> = new Set(['pickupToReleaseS', 'pauseS', 'dipDepthM', 'sidePathM']);
/** Mixtures of beginnings are alike while no kind's share differs by more. */
const mostShareApart = 0.2;

/** Puts two groups of shots side by side in one measure. */
export function compareGroups(one: ComparedGroup, two: ComparedGroup, measure: ShotMeasureName): Compared {
  const compared = compareTwo(practicesOf(one, measure), practicesOf(two, measure));
  const { difference } = compared;
  return {
    measure,
    one: sideOf(one, measure),
    two: sideOf(two, measure),
    basis: compared.basis,
    difference: isInsufficient(difference)
      ? null
      : { value: difference.difference, interval95: [...difference.interval] },
    answer: compared.answer,
    notes: notesOf(one, two, measure),
  };
}

function measuredOf(shot: StoredShot, measure: ShotMeasureName): WireMeasured | undefined {
  // What an older version of the analysis measured may lack measures that came since.
  return (shot.result.shot.measures as Partial<Record<ShotMeasureName, WireMeasured>>)[measure];
}

function practicesOf({ shots }: ComparedGroup, measure: ShotMeasureName): PracticeValues[] {
  const practices = new Map<string, number[]>();
  for (const shot of shots) {
    const value = measuredOf(shot, measure)?.value ?? null;
    if (value === null) continue;
    const values = practices.get(shot.session_id);
    if (values) values.push(value);
    else practices.set(shot.session_id, [value]);
  }
  return [...practices].map(([practice, values]) => ({ practice, values }));
}

function sideOf({ kind, id, shots }: ComparedGroup, measure: ShotMeasureName): Compared['one'] {
  const practices = practicesOf({ kind, id, shots }, measure);
  const values = practices.flatMap((practice) => practice.values);
  const middle = values.length === 0 ? null : medianWithInterval(values);
  return {
    ...{ kind, id, shotCount: shots.length, count: values.length, practices: practices.length },
    median: middle?.median ?? null,
    interval90: middle?.interval ? [middle.interval[0], middle.interval[1]] : null,
    quartiles: values.length < 4 ? null : [quantile(values, 0.25), quantile(values, 0.75)],
    shots: shots.slice(-mostDrawn).map((shot) => {
      const measured = measuredOf(shot, measure);
      const isKnown = measured !== undefined && measured.value !== null;
      return {
        atS: shot.at_s,
        value: isKnown ? measured.value : null,
        standardError: isKnown ? measured.standardError : null,
      };
    }),
  };
}

function notesOf(one: ComparedGroup, two: ComparedGroup, measure: ShotMeasureName): Compared['notes'] {
  const notes: Compared['notes'] = [];
  const sensors = [one, two].map(({ shots }) => new Set(shots.map(({ sensor_id }) => sensor_id)));
  const [first, second] = sensors as [Set<string | null>, Set<string | null>];
  if (first.size > 0 && second.size > 0 && [...first, ...second].some((id) => !first.has(id) || !second.has(id))) {
    notes.push('different-sensors');
  }
  if (startMeasures.has(measure) && startsDiffer(one.shots, two.shots)) notes.push('different-starts');
  const isModelled = [...one.shots, ...two.shots].some((shot) => {
    const measured = measuredOf(shot, measure);
    return measured !== undefined && 'flags' in measured && measured.flags?.includes('uncalibrated');
  });
  if (isModelled) notes.push('modelled');
  const ids = new Set(one.shots.map(({ id }) => id));
  if (two.shots.some(({ id }) => ids.has(id))) notes.push('same-shots');
  if (Math.max(one.shots.length, two.shots.length) > mostDrawn) notes.push('cut');
  return notes;
}

function startsDiffer(one: readonly StoredShot[], two: readonly StoredShot[]): boolean {
  if (one.length === 0 || two.length === 0) return false;
  const share = (shots: readonly StoredShot[], kind: string) =>
    shots.filter(({ result }) => result.shot.startKind === kind).length / shots.length;
  return ['dribble', 'catch', 'hold', 'unknown'].some(
    (kind) => Math.abs(share(one, kind) - share(two, kind)) > mostShareApart,
  );
}
