import type { WirePlayer } from '../../server/wire/practice-document.ts';
import { ask } from '../api.ts';
import { texts } from '../texts.ts';
import type { PracticeDesk } from './practice-desk.ts';

const ageBands = ['under-10', '10-12', '13-15', '16-18', 'adult'] as const;

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
    await desk.change('POST', `/api/players/${encodeURIComponent(answer.value.id)}/consents`, {
      scope: 'record',
      givenByRole,
    });
  };
  return (
    <section class="panel" aria-labelledby="player-title">
      <h3 id="player-title">{texts.bench.addPlayer}</h3>
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
          <select name="age-band" defaultValue="adult">
            {ageBands.map((band) => (
              <option key={band} value={band}>
                {texts.bench.ageBands[band]}
              </option>
            ))}
          </select>
        </label>
        <label>
          {texts.bench.agreedBy}
          <select name="agreed-by">
            <option value="">{texts.bench.agreedByNobody}</option>
            {texts.bench.agreedByRoles.map((role) => (
              <option key={role} value={role}>
                {role}
              </option>
            ))}
          </select>
        </label>
        <p class="note whole-row">{texts.bench.agreedNote}</p>
        <button type="submit">{texts.bench.add}</button>
      </form>
    </section>
  );
}
