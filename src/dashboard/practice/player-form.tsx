import { useRef } from 'preact/hooks';
import type { WirePlayer } from '../../server/wire/practice-document.ts';
import { ask } from '../api.ts';
import { texts } from '../texts.ts';
import { emptyPractice, type Practice, type PracticeDesk } from './practice-desk.ts';

/** As it is noted, whatever the language of the page. */
const agreeing = ['player', 'parent', 'guardian'] as const;
const ageBands = ['under-10', '10-12', '13-15', '16-18', 'adult'] as const;

/** The form folded away, but for a club that has no player yet. */
export function AddPlayerPanel({ practice, desk }: { readonly practice: Practice; readonly desk: PracticeDesk }) {
  const beganEmpty = useRef(false);
  // Once open it stays so: the first player is seldom the last.
  if (practice !== emptyPractice && practice.players.length === 0) beganEmpty.current = true;
  return (
    <details class="panel" open={beganEmpty.current}>
      <summary>{texts.bench.addPlayer}</summary>
      <PlayerForm desk={desk} />
    </details>
  );
}

/** Adds a player, with the consent without which no shot is given to anybody. */
export function PlayerForm({ desk }: { readonly desk: PracticeDesk }) {
  const add = async (event: SubmitEvent): Promise<void> => {
    event.preventDefault();
    const form = event.currentTarget as HTMLFormElement;
    const words = new FormData(form);
    const word = (name: string): string => String(words.get(name) ?? '').trim();
    const body = { pseudonym: word('pseudonym'), hand: word('hand'), ageBand: word('age-band') };
    const answer = await ask<WirePlayer>('POST', '/api/players', body);
    if (!answer.ok) {
      desk.trouble.value = texts.failed(answer.message);
      return;
    }
    form.reset();
    const givenByRole = word('agreed-by');
    if (givenByRole === '') return desk.refresh();
    const path = `/api/players/${encodeURIComponent(answer.value.id)}/consents`;
    const isNoted = await desk.change('POST', path, { scope: 'record', givenByRole });
    for (const scope of ['display', 'export', 'upload'] as const) {
      if (isNoted && words.has(scope)) await desk.change('POST', path, { scope, givenByRole });
    }
  };
  return (
    <form class="grid-form" onSubmit={add}>
      <label class="whole-row">
        {texts.bench.pseudonym}
        <input name="pseudonym" type="text" required maxLength={60} autoComplete="off" />
      </label>
      <label>
        {texts.bench.hand}
        <select name="hand">
          {(['right', 'left'] as const).map((hand) => (
            <option key={hand} value={hand}>
              {texts.settings.hands[hand]}
            </option>
          ))}
        </select>
      </label>
      <label>
        {texts.bench.ageBand}
        <select name="age-band">
          {ageBands.map((band) => (
            <option key={band} value={band} selected={band === 'adult'}>
              {texts.bench.ageBands[band]}
            </option>
          ))}
        </select>
      </label>
      <label>
        {texts.bench.agreedBy}
        <select name="agreed-by">
          <option value="">{texts.bench.agreedByNobody}</option>
          {agreeing.map((role) => (
            <option key={role} value={role}>
              {texts.bench.agreedByRoles[role]}
            </option>
          ))}
        </select>
      </label>
      <label class="choice whole-row">
        <input name="display" type="checkbox" />
        {texts.bench.agreedDisplay}
      </label>
      <label class="choice whole-row">
        <input name="export" type="checkbox" />
        {texts.bench.agreedExport}
      </label>
      <label class="choice whole-row">
        <input name="upload" type="checkbox" />
        {texts.bench.agreedUpload}
      </label>
      <p class="note whole-row">{texts.bench.agreedNote}</p>
      <button type="submit">{texts.bench.add}</button>
    </form>
  );
}
