import type { WirePlayerSet } from '../../server/wire/coaching-document.ts';
import { shownDate } from '../clock-time.ts';
import { bareNumber } from '../measures.ts';
import { userFormat } from '../settings/current-settings.ts';
import { texts } from '../texts.ts';

interface BestSetsFormProps {
  readonly sets: readonly WirePlayerSet[];
  /** Ids of the sets that were called the best. */
  readonly best: readonly string[];
  readonly isChanging: boolean;
  readonly onBest: (setIds: readonly string[]) => void;
}

/** Chooses the sets that make the player's own bands. */
export function BestSetsForm({ sets, best, isChanging, onBest }: BestSetsFormProps) {
  const words = texts.coaching.targets;
  // Sets that are too old to be listed stay chosen.
  const unlisted = best.filter((id) => sets.every((set) => set.id !== id));
  const keep = (event: SubmitEvent): void => {
    event.preventDefault();
    const chosen = new FormData(event.currentTarget as HTMLFormElement).getAll('best').map(String);
    onBest([...unlisted, ...chosen]);
  };
  return (
    <form class="best-sets" onSubmit={keep}>
      <fieldset class="tap-list">
        <legend>{words.bestTitle}</legend>
        <p class="note">{words.best}</p>
        {sets.length === 0 && <p>{words.noSets}</p>}
        {sets.map((set) => (
          <label key={set.id} class="choice">
            <input type="checkbox" name="best" value={set.id} defaultChecked={best.includes(set.id)} />
            <span>{setInWords(set)}</span>
          </label>
        ))}
      </fieldset>
      {unlisted.length > 0 && <p class="note">{words.olderBest(unlisted.length)}</p>}
      {sets.length > 0 && (
        <button type="submit" disabled={isChanging}>
          {words.keepBest}
        </button>
      )}
    </form>
  );
}

function setInWords({ startedS, kind, name, spot, distanceM, shots, made }: WirePlayerSet): string {
  const words = texts.coaching.targets;
  const { setKinds } = texts.bench;
  const format = userFormat('apexM');
  const distance = distanceM === null ? '' : texts.withUnit(bareNumber(distanceM, format), format.unit);
  const parts = [
    shownDate(startedS),
    name === '' && kind in setKinds ? setKinds[kind as keyof typeof setKinds] : name,
    spot,
    distance,
    words.setShots(shots),
    made === null ? '' : texts.coaching.studies.madeOf(made.makes, made.attempts),
  ];
  return parts.filter((part) => part !== '').join(', ');
}
