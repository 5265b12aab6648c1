import { useState } from 'preact/hooks';
import { ask } from '../api.ts';
import { texts } from '../texts.ts';
import { researchTexts } from './texts.ts';
import { shownSessionTime } from './view-range.ts';

const words = researchTexts.signals;

/** A mark as the service tells it. */
export interface WireMark {
  readonly id: string;
  readonly atS: number;
  readonly uncertaintyS: number;
  readonly name: string;
}

interface MarksPanelProps {
  readonly marks: readonly WireMark[];
  readonly startedS: number;
  readonly onShow: (timeS: number) => void;
  readonly onAdd: () => void;
  readonly onChanged: () => Promise<void>;
  readonly onTrouble: (message: string | null) => void;
}

/** The marks of the session: to go to, to name and to take away. */
export function MarksPanel({ marks, startedS, onShow, onAdd, onChanged, onTrouble }: MarksPanelProps) {
  const change = async (method: 'PATCH' | 'DELETE', id: string, body?: object): Promise<void> => {
    const answer = await ask(method, `/api/marks/${encodeURIComponent(id)}`, body);
    onTrouble(answer.ok ? null : texts.failed(answer.message));
    await onChanged();
  };
  return (
    <section class="panel" aria-labelledby="marks-title">
      <h3 id="marks-title">{words.marks}</h3>
      {marks.length === 0 && <p class="note">{words.marksNone}</p>}
      <ul class="mark-list">
        {marks.map((mark) => (
          <MarkLine
            key={mark.id}
            mark={mark}
            timeS={mark.atS - startedS}
            onShow={() => onShow(mark.atS - startedS)}
            onRename={(name) => void change('PATCH', mark.id, { name })}
            onRemove={() => void change('DELETE', mark.id)}
          />
        ))}
      </ul>
      <p>
        <button type="button" onClick={onAdd}>
          {words.markAdd}
        </button>
      </p>
    </section>
  );
}

interface MarkLineProps {
  readonly mark: WireMark;
  readonly timeS: number;
  readonly onShow: () => void;
  readonly onRename: (name: string) => void;
  readonly onRemove: () => void;
}

function MarkLine({ mark, timeS, onShow, onRename, onRemove }: MarkLineProps) {
  const [name, setName] = useState(mark.name);
  const time = shownSessionTime(timeS, 5);
  const errorMs = 1000 * mark.uncertaintyS;
  return (
    <li>
      <button type="button" class="small" aria-label={words.markShow(time)} onClick={onShow}>
        {words.markError(time, errorMs.toFixed(errorMs < 10 ? 1 : 0))}
      </button>
      <form
        class="inline-form"
        onSubmit={(event) => {
          event.preventDefault();
          onRename(name);
        }}
      >
        <input
          type="text"
          maxLength={120}
          aria-label={words.markName}
          placeholder={words.markUnnamed}
          value={name}
          onInput={(event) => setName(event.currentTarget.value)}
        />
        {name !== mark.name && <button type="submit">{words.markRename}</button>}
        <button type="button" class="small" aria-label={words.markRemoveOf(mark.name || time)} onClick={onRemove}>
          {words.markRemove}
        </button>
      </form>
    </li>
  );
}
