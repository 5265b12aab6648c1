import { useState } from 'preact/hooks';
import type { WirePlayer } from '../../server/wire/practice-document.ts';
import { measureFormats } from '../measures.ts';
import { measureLabels, texts } from '../texts.ts';
import type { StudyPlan } from './study-desk.ts';

interface StudyFormProps {
  readonly players: readonly WirePlayer[];
  readonly onPlan: (plan: StudyPlan) => Promise<boolean>;
}

/** Plans a study: what is varied, by whom, how much, and up to which difference two conditions count as the same. */
export function StudyForm({ players, onPlan }: StudyFormProps) {
  const words = texts.coaching.studies;
  const [trouble, setTrouble] = useState<string | null>(null);
  const plan = async (event: SubmitEvent): Promise<void> => {
    event.preventDefault();
    const form = event.currentTarget as HTMLFormElement;
    const data = new FormData(form);
    const word = (name: string): string => String(data.get(name) ?? '').trim();
    const levels = word('levels')
      .split(',')
      .map((level) => level.trim())
      .filter((level) => level !== '');
    const playerIds = data.getAll('player').map(String);
    const odd = levels.length < 2 ? words.levelsOdd : playerIds.length === 0 ? words.playersOdd : null;
    setTrouble(odd);
    if (odd !== null) return;
    const measure = word('measure');
    const planned = await onPlan({
      name: word('name'),
      factor: word('factor'),
      levels,
      playerIds,
      daysEach: Number(word('days')),
      shotsASet: Number(word('shots')),
      blinded: data.get('blinded') !== null,
      measures: measure === '' ? [] : [measure],
      margins: { makes: Number(word('margin')) / 100 },
    });
    if (planned) form.reset();
  };
  return (
    <details class="panel">
      <summary>{words.plan}</summary>
      <form class="grid-form" onSubmit={(event) => void plan(event)}>
        <label class="whole-row">
          {words.name}
          <input name="name" type="text" required maxLength={120} />
        </label>
        <label>
          {words.factor}
          <input name="factor" type="text" required maxLength={60} />
        </label>
        <label>
          {words.levels}
          <input name="levels" type="text" required maxLength={400} />
        </label>
        <label>
          {words.days}
          <input name="days" type="number" min="1" max="100" defaultValue="6" required />
        </label>
        <label>
          {words.shots}
          <input name="shots" type="number" min="1" max="1000" defaultValue="20" required />
        </label>
        <label>
          {words.margin}
          <input name="margin" type="number" min="0.5" max="50" step="0.5" defaultValue="5" required />
        </label>
        <label>
          {words.measure}
          <select name="measure">
            <option value="">{words.makesOnly}</option>
            {measureFormats.map(({ name }) => (
              <option key={name} value={name}>
                {measureLabels[name]}
              </option>
            ))}
          </select>
        </label>
        <fieldset class="whole-row tap-list">
          <legend>{words.players}</legend>
          {players.map(({ id, pseudonym }) => (
            <label key={id} class="choice">
              <input type="checkbox" name="player" value={id} /> {pseudonym}
            </label>
          ))}
        </fieldset>
        <label class="whole-row choice">
          <input type="checkbox" name="blinded" /> {words.blinded}
        </label>
        <p role="alert" class="stale whole-row">
          {trouble ?? ''}
        </p>
        <button type="submit">{words.draw}</button>
      </form>
      <p class="note">{words.advice}</p>
    </details>
  );
}
