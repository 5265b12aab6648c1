import { useEffect, useState } from 'preact/hooks';
import type { CompareDocument } from '../../server/wire/compare-document.ts';
import type { ShotMeasureName } from '../../server/wire/shot-document.ts';
import { ask } from '../api.ts';
import { CompareCharts } from '../compare/compare-charts.tsx';
import { compareTexts } from '../compare/compare-texts.ts';
import { HelpButton } from '../help/help-button.tsx';
import type { LiveState } from '../live-state.ts';
import { bareNumber, type MeasureFormat, measureFormats } from '../measures.ts';
import { writeFactors } from '../practice/factor-words.ts';
import type { PracticeDesk } from '../practice/practice-desk.ts';
import { useDesk } from '../practice/use-desk.ts';
import { hrefOf } from '../route.ts';
import { userFormat } from '../settings/current-settings.ts';
import { measureLabels, texts } from '../texts.ts';
import { changeMark } from '../use-reread.ts';

/** As the service has it: fewer shots of one practice tell nothing. */
const leastShots = 8;

interface CompareScreenProps {
  readonly state: LiveState;
  readonly desk: PracticeDesk;
}

/** Two players or two sets side by side: how their shots lie, and whether a difference can be told at all. */
export function CompareScreen({ state, desk }: CompareScreenProps) {
  useDesk(desk, state);
  const { players, sets, shotsOf, session } = desk.practice.value;
  const [what, setWhat] = useState<'player' | 'set'>('player');
  const [where, setWhere] = useState<'current' | 'all'>('current');
  const [chosen, setChosen] = useState<readonly [string | null, string | null]>([null, null]);
  const [measure, setMeasure] = useState<ShotMeasureName>('pickupToReleaseS');
  const options =
    what === 'player'
      ? players.map(({ id, pseudonym }) => ({ id, name: pseudonym }))
      : sets.map((set, at) => {
          const words = [texts.bench.setKinds[set.kind], set.name, set.spot, writeFactors(set.factors)];
          return { id: set.id, name: compareTexts.setName(at + 1, words.filter((word) => word !== '').join(', ')) };
        });
  // Until somebody is chosen, those who have shots to be compared.
  const owners = new Set(shotsOf.map(({ playerId, setId }) => (what === 'player' ? playerId : setId)));
  const first = [...options].sort((a, b) => Number(owners.has(b.id)) - Number(owners.has(a.id)));
  const pick = (at: 0 | 1): string => {
    const id = chosen[at];
    return options.some((option) => option.id === id) ? (id ?? '') : (first[at]?.id ?? '');
  };
  const [one, two] = [pick(0), pick(1)];
  const canAsk = one !== '' && two !== '' && one !== two;
  // Of players of a practice that has not begun there is nothing.
  const within = what === 'player' && where === 'current' && session !== null ? '&sessionId=current' : '';
  const query = canAsk ? `one=${what}=${one}&two=${what}=${two}&measure=${measure}${within}` : null;
  const { answer, trouble } = useComparison(
    query,
    `${changeMark(state, null)} ${shotsOf.reduce((sum, { count }) => sum + count, 0)}`,
  );
  const names = [one, two].map((id) => options.find((option) => option.id === id)?.name ?? '') as [string, string];
  const format = userFormat(measure);
  const label = texts.labelWithUnit(measureLabels[measure], format.unit);
  const side = (at: 0 | 1) => (
    <label>
      {at === 0 ? compareTexts.one : compareTexts.two}
      <select
        value={pick(at)}
        onChange={(event) => {
          const id = event.currentTarget.value;
          setChosen(at === 0 ? [id, two] : [one, id]);
        }}
      >
        {options.map(({ id, name }) => (
          <option key={id} value={id}>
            {name}
          </option>
        ))}
      </select>
    </label>
  );
  return (
    <section class="compare" aria-labelledby="compare-title">
      <p>
        <a href={hrefOf('bench')}>{compareTexts.back}</a>
      </p>
      <h2 id="compare-title">{compareTexts.title}</h2>
      <p class="note">{compareTexts.note}</p>
      <div class="panel inline-form">
        <label>
          {compareTexts.what}
          <select value={what} onChange={(event) => setWhat(event.currentTarget.value as 'player' | 'set')}>
            {(['player', 'set'] as const).map((word) => (
              <option key={word} value={word}>
                {compareTexts.whats[word]}
              </option>
            ))}
          </select>
        </label>
        {options.length >= 2 && side(0)}
        {options.length >= 2 && side(1)}
        {what === 'player' && (
          <label>
            {compareTexts.where}
            <select value={where} onChange={(event) => setWhere(event.currentTarget.value as 'current' | 'all')}>
              {(['current', 'all'] as const).map((word) => (
                <option key={word} value={word}>
                  {compareTexts.wheres[word]}
                </option>
              ))}
            </select>
          </label>
        )}
        <label>
          {compareTexts.measure}
          <select value={measure} onChange={(event) => setMeasure(event.currentTarget.value as ShotMeasureName)}>
            {measureFormats.map(({ name }) => (
              <option key={name} value={name}>
                {measureLabels[name]}
              </option>
            ))}
          </select>
        </label>
        <HelpButton name={measure} />
      </div>
      <p role="alert" class="stale">
        {trouble ?? ''}
      </p>
      {!canAsk && <p>{options.length < 2 ? compareTexts.tooFew[what] : compareTexts.choose}</p>}
      {canAsk && answer && (
        <>
          <p class="compare-answer" role="status" data-answer={answer.answer}>
            {sentenceOf(answer, names, format)}
          </p>
          {answer.answer !== 'too-few' && <p class="note">{compareTexts.basis[answer.basis]}</p>}
          {answer.notes.map((note) => (
            <p key={note} class="note note-strong">
              {compareTexts.notes[note]}
            </p>
          ))}
          <CompareCharts document={answer} names={names} format={format} label={label} />
          <p class="note">{compareTexts.look}</p>
        </>
      )}
    </section>
  );
}

/** @param mark changes when there may be more to compare. */
function useComparison(query: string | null, mark: string) {
  const [answer, setAnswer] = useState<CompareDocument | null>(null);
  const [trouble, setTrouble] = useState<string | null>(null);
  useEffect(() => {
    let isCurrent = true;
    if (query === null) {
      setAnswer(null);
      return;
    }
    void ask<CompareDocument>('GET', `/api/compare?${query}`).then((result) => {
      if (!isCurrent) return;
      setTrouble(result.ok ? null : texts.failed(result.message));
      if (result.ok) setAnswer(result.value);
    });
    return () => {
      isCurrent = false;
    };
  }, [query, mark]);
  return { answer, trouble };
}

function sentenceOf(document: CompareDocument, [one, two]: readonly [string, string], format: MeasureFormat): string {
  const { answer, difference, measure, basis } = document;
  const label = measureLabels[measure];
  const shown = (value: number): string => texts.withUnit(bareNumber(value, format), format.unit);
  const empty = document.one.count === 0 ? one : document.two.count === 0 ? two : null;
  if (empty !== null) return compareTexts.noShots(label, empty);
  if (difference === null || answer === 'too-few') {
    return basis === 'shots' ? compareTexts.tooFewShots(label, leastShots) : compareTexts.tooFewPractices(label);
  }
  const { value, interval95 } = difference;
  const [low, high] = interval95;
  if (answer === 'open') return compareTexts.open(label, shown(low), shown(high));
  return value > 0
    ? compareTexts.differ(label, one, two, shown(value), shown(low), shown(high))
    : compareTexts.differ(label, two, one, shown(-value), shown(-high), shown(-low));
}
