import { useState } from 'preact/hooks';
import type { WireSet } from '../../server/wire/practice-document.ts';
import { texts } from '../texts.ts';
import { readFactors, writeFactors } from './factor-words.ts';
import type { Practice, PracticeDesk } from './practice-desk.ts';

interface PanelProps {
  readonly practice: Practice;
  readonly desk: PracticeDesk;
}

const kinds = ['drill', 'test', 'free'] as const;

/** The set that runs, or what is needed to start one. */
export function SetPanel({ practice, desk }: PanelProps) {
  if (practice.session === null) return null;
  const running = practice.sets.find(({ endedS }) => endedS === null);
  return (
    <section class="panel" aria-labelledby="set-title">
      <h3 id="set-title">{texts.bench.set}</h3>
      {running ? <RunningSet set={running} desk={desk} /> : <NewSet practice={practice} desk={desk} />}
    </section>
  );
}

function NewSet({ practice, desk }: PanelProps) {
  const [trouble, setTrouble] = useState<string | null>(null);
  const start = (event: SubmitEvent): void => {
    event.preventDefault();
    const words = new FormData(event.currentTarget as HTMLFormElement);
    const word = (name: string): string => String(words.get(name) ?? '').trim();
    const read = readFactors(word('factors'));
    if ('odd' in read) {
      setTrouble(texts.bench.conditionsOdd(read.odd));
      return;
    }
    setTrouble(null);
    const distance = word('distance');
    void desk.change('POST', '/api/sessions/current/sets', {
      kind: word('kind'),
      name: word('name'),
      spot: word('spot'),
      distanceM: distance === '' ? null : Number(distance),
      playerId: word('player') === '' ? null : word('player'),
      factors: read.factors,
    });
  };
  return (
    <form class="grid-form" onSubmit={start}>
      <label>
        {texts.bench.setKind}
        <select name="kind">
          {kinds.map((kind) => (
            <option key={kind} value={kind}>
              {texts.bench.setKinds[kind]}
            </option>
          ))}
        </select>
      </label>
      <label>
        {texts.bench.setName}
        <input name="name" type="text" maxLength={120} />
      </label>
      <label>
        {texts.bench.setPlayer}
        <select name="player">
          <option value="">{texts.bench.everybody}</option>
          {practice.players.map(({ id, pseudonym }) => (
            <option key={id} value={id}>
              {pseudonym}
            </option>
          ))}
        </select>
      </label>
      <label>
        {texts.bench.spot}
        <input name="spot" type="text" maxLength={60} />
      </label>
      <label>
        {texts.bench.distance}
        <input name="distance" type="number" min="0.5" max="15" step="0.01" />
      </label>
      <label class="whole-row">
        {texts.bench.conditions}
        <input name="factors" type="text" maxLength={400} />
      </label>
      <p role="alert" class="stale whole-row">
        {trouble ?? ''}
      </p>
      <button type="submit">{texts.bench.setStart}</button>
    </form>
  );
}

function RunningSet({ set, desk }: { readonly set: WireSet; readonly desk: PracticeDesk }) {
  const [trouble, setTrouble] = useState<string | null>(null);
  const path = `/api/sets/${encodeURIComponent(set.id)}`;
  const keepTotal = (event: SubmitEvent): void => {
    event.preventDefault();
    const words = new FormData(event.currentTarget as HTMLFormElement);
    const [made, attempted] = ['made', 'attempted'].map((name) => Number(words.get(name) || Number.NaN)) as [
      number,
      number,
    ];
    if (!(Number.isInteger(made) && Number.isInteger(attempted) && made >= 0 && made <= attempted)) {
      setTrouble(texts.bench.totalOdd);
      return;
    }
    setTrouble(null);
    void desk.change('PATCH', path, { total: { made, attempted } });
  };
  const about = [texts.bench.setKinds[set.kind], set.name, set.spot, writeFactors(set.factors)];
  return (
    <>
      <p class="round-now">{texts.bench.setRuns(about.filter((part) => part !== '').join(', '))}</p>
      <form class="inline-form" onSubmit={keepTotal}>
        <fieldset>
          <legend>{texts.bench.total}</legend>
          <label>
            {texts.bench.made}
            <input name="made" type="number" min="0" defaultValue={String(set.total?.made ?? '')} />
          </label>
          <label>
            {texts.bench.attempted}
            <input name="attempted" type="number" min="0" defaultValue={String(set.total?.attempted ?? '')} />
          </label>
          <button type="submit">{texts.bench.keepTotal}</button>
        </fieldset>
        <p role="alert" class="stale">
          {trouble ?? ''}
        </p>
      </form>
      <button type="button" onClick={() => void desk.change('PATCH', path, { ended: true })}>
        {texts.bench.setEnd}
      </button>
    </>
  );
}
