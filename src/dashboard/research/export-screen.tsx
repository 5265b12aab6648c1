import './research.css';
import { useEffect, useState } from 'preact/hooks';
import type { WirePlayer, WireSession } from '../../server/wire/practice-document.ts';
import type { WireExportFilter, WireExportPreview, WireJob } from '../../server/wire/research-document.ts';
import { ask } from '../api.ts';
import { shownDate, shownSize } from '../clock-time.ts';
import { hrefOf } from '../route.ts';
import { texts } from '../texts.ts';
import { useReread } from '../use-reread.ts';
import { researchTexts } from './texts.ts';
import { useJob } from './use-job.ts';

const words = researchTexts.export;
const settleMs = 300;
const countFormat = new Intl.NumberFormat(undefined);

/** What somebody chose to export. */
interface Choice {
  /** Null for all. */
  readonly playerIds: readonly string[] | null;
  readonly sessionIds: readonly string[] | null;
  readonly from: string;
  readonly until: string;
  readonly condition: string;
  readonly withUnnamed: boolean;
  readonly samples: boolean;
  readonly bids: boolean;
  readonly raw: boolean;
  readonly shift: 'one' | 'per-player' | 'none';
  readonly withKey: boolean;
}

const usual: Choice = {
  ...{ playerIds: null, sessionIds: null, from: '', until: '', condition: '' },
  ...{ withUnnamed: false, samples: false, bids: false, raw: false, shift: 'one', withKey: false },
};

/** Chooses shots for a researcher, shows what stays here and why, and gives the export out. */
export function ExportScreen({ mark }: { readonly mark: string }) {
  const [choice, setChoice] = useState<Choice>(usual);
  const [players, setPlayers] = useState<readonly WirePlayer[]>([]);
  const [sessions, setSessions] = useState<readonly WireSession[]>([]);
  const [preview, setPreview] = useState<WireExportPreview | null>(null);
  const [trouble, setTrouble] = useState<string | null>(null);
  const [isHost, setIsHost] = useState(false);
  const { job, trouble: jobTrouble, watch, stop } = useJob();
  useReread(async () => {
    const [known, held] = await Promise.all([
      ask<{ players: WirePlayer[] }>('GET', '/api/players'),
      ask<{ sessions: WireSession[] }>('GET', '/api/sessions?limit=500'),
    ]);
    if (known.ok) setPlayers(known.value.players);
    if (held.ok) setSessions(held.value.sessions);
    else setTrouble(texts.failed(held.message));
  }, mark);
  useEffect(() => {
    void ask<{ role: string | null }>('GET', '/api/access/me').then((answer) =>
      setIsHost(answer.ok && answer.value.role === 'host'),
    );
  }, []);
  const filter = filterOf(choice);
  const filterText = JSON.stringify(filter);
  useEffect(() => {
    if (filter === null) {
      setTrouble(words.conditionOdd);
      return;
    }
    let isOver = false;
    const timer = setTimeout(async () => {
      const answer = await ask<WireExportPreview>('POST', '/api/exports/preview', filter);
      if (isOver) return;
      setTrouble(answer.ok ? null : texts.failed(answer.message));
      setPreview(answer.ok ? answer.value : null);
    }, settleMs);
    return () => {
      isOver = true;
      clearTimeout(timer);
    };
  }, [filterText, mark]);
  const change = (to: Partial<Choice>): void => {
    setChoice({ ...choice, ...to });
    if (job?.endedS != null) watch(null);
  };
  const make = async (event: SubmitEvent): Promise<void> => {
    event.preventDefault();
    if (filter === null) return;
    const { samples, bids, raw, shift, withKey } = choice;
    const answer = await ask<WireJob>('POST', '/api/exports', {
      filter,
      samples,
      bids,
      raw,
      shift,
      withKey: withKey && isHost,
    });
    setTrouble(answer.ok ? null : texts.failed(answer.message));
    if (answer.ok) watch(answer.value);
  };
  const check = (field: 'samples' | 'bids' | 'raw' | 'withUnnamed' | 'withKey', label: string) => (
    <label class="choice">
      <input type="checkbox" checked={choice[field]} onChange={() => change({ [field]: !choice[field] })} />
      {label}
    </label>
  );
  const isOpen = job !== null && job.endedS === null;
  return (
    <section class="research form export" aria-labelledby="export-title">
      <p>
        <a href={hrefOf('sessions')}>{researchTexts.backToSessions}</a>
      </p>
      <h2 id="export-title">{words.title}</h2>
      <p>{words.intro}</p>
      <form class="export-form" onSubmit={make}>
        <div>
          <fieldset>
            <legend>{words.which}</legend>
            <Several
              label={words.players}
              items={players.map(({ id, pseudonym }) => ({ id, name: pseudonym }))}
              chosen={choice.playerIds}
              onChange={(playerIds) => change({ playerIds })}
            />
            <Several
              label={words.sessions}
              items={sessions.map(({ id, name, startedS }) => ({
                id,
                name: name === '' ? shownDate(startedS) : `${name}, ${shownDate(startedS)}`,
              }))}
              chosen={choice.sessionIds}
              onChange={(sessionIds) => change({ sessionIds })}
            />
            <div class="grid-form">
              <label>
                {words.from}
                <input
                  type="date"
                  value={choice.from}
                  onInput={(event) => change({ from: event.currentTarget.value })}
                />
              </label>
              <label>
                {words.until}
                <input
                  type="date"
                  value={choice.until}
                  onInput={(event) => change({ until: event.currentTarget.value })}
                />
              </label>
              <label>
                {words.condition}
                <input
                  type="text"
                  maxLength={120}
                  value={choice.condition}
                  onInput={(event) => change({ condition: event.currentTarget.value })}
                />
              </label>
            </div>
          </fieldset>
          <fieldset>
            <legend>{words.what}</legend>
            {check('samples', words.samples)}
            {check('bids', words.bids)}
            {check('raw', words.raw)}
          </fieldset>
          <fieldset>
            <legend>{words.privacy}</legend>
            {(['one', 'per-player', 'none'] as const).map((shift) => (
              <label key={shift} class="choice">
                <input type="radio" name="shift" checked={choice.shift === shift} onChange={() => change({ shift })} />
                {words.shifts[shift]}
              </label>
            ))}
            {check('withUnnamed', words.unnamed)}
            {isHost && check('withKey', words.key)}
          </fieldset>
        </div>
        <div>
          <h3>{words.preview}</h3>
          <div aria-live="polite">
            {preview !== null && (
              <Preview preview={preview} isWithSamples={choice.samples || choice.bids || choice.raw} />
            )}
          </div>
          <p role="alert" class="stale">
            {trouble ?? jobTrouble ?? (job?.state === 'failed' ? words.failed(job.messages.join(' ')) : '')}
          </p>
          <p class="inline-form">
            <button type="submit" class="plain" disabled={isOpen || filter === null || !preview || preview.shots === 0}>
              {words.make}
            </button>
            {isOpen && (
              <button type="button" class="plain" onClick={() => void stop()}>
                {words.stop}
              </button>
            )}
          </p>
          <Made job={job} isHost={isHost} />
        </div>
      </form>
    </section>
  );
}

function Made({ job, isHost }: { readonly job: WireJob | null; readonly isHost: boolean }) {
  if (job === null) return null;
  const path = `/api/exports/${encodeURIComponent(job.id)}`;
  if (job.endedS === null) {
    const text = job.state === 'waiting' ? words.waits : words.making(Math.round(100 * job.share));
    return (
      <p role="status" class="progress-line">
        <progress aria-label={text} max={1} value={job.share} /> {text}
      </p>
    );
  }
  if (job.state === 'stopped') return <p role="status">{words.stopped}</p>;
  if (job.state !== 'done') return null;
  return (
    <div role="status">
      <p>
        <strong>{words.done(job.counts.shots ?? 0, countFormat.format(job.counts.samples ?? 0))}</strong>
      </p>
      {job.messages.length > 0 && (
        <ul class="messages">
          {job.messages.map((message) => (
            <li key={message}>{message}</li>
          ))}
        </ul>
      )}
      <p>
        <a href={`${path}/download`} download>
          {words.download}
        </a>
      </p>
      {isHost && job.counts.hasKey === 1 && (
        <p>
          <a href={`${path}/key`} download>
            {words.downloadKey}
          </a>
        </p>
      )}
      <p class="note">{words.kept}</p>
    </div>
  );
}

function Preview({ preview, isWithSamples }: { readonly preview: WireExportPreview; readonly isWithSamples: boolean }) {
  const { shots, sessions, players, withheld, unnamed, withoutRecording, recordingBytes } = preview;
  return (
    <>
      <p>
        <strong>
          {shots === 0 && withheld.length === 0 && unnamed === 0 ? words.nothing : words.goes(shots, sessions, players)}
        </strong>
      </p>
      <ul class="messages">
        {withheld.map((each) => (
          <li key={each.playerId}>{words.withheld(each.pseudonym, each.shots)}</li>
        ))}
        {unnamed > 0 && <li>{words.unnamedStay(unnamed)}</li>}
        {isWithSamples &&
          withoutRecording.map(({ sessionId, name, startedS }) => (
            <li key={sessionId}>{words.withoutRecording(name === '' ? shownDate(startedS) : name)}</li>
          ))}
        {isWithSamples && recordingBytes > 0 && <li>{words.recordings(shownSize(recordingBytes))}</li>}
      </ul>
    </>
  );
}

interface SeveralProps {
  readonly label: string;
  readonly items: readonly { readonly id: string; readonly name: string }[];
  /** Null for all. */
  readonly chosen: readonly string[] | null;
  readonly onChange: (chosen: readonly string[] | null) => void;
}

/** All of a list, or some of it. */
function Several({ label, items, chosen, onChange }: SeveralProps) {
  const toggle = (id: string): void => {
    const now = chosen ?? [];
    const next = now.includes(id) ? now.filter((each) => each !== id) : [...now, id];
    onChange(next.length === 0 ? null : next);
  };
  return (
    <details class="several">
      <summary>
        {label}: {chosen === null ? words.all : words.chosenOf(chosen.length, items.length)}
      </summary>
      <ul>
        {items.map(({ id, name }) => (
          <li key={id}>
            <label class="choice">
              <input type="checkbox" checked={chosen?.includes(id) ?? false} onChange={() => toggle(id)} />
              {name}
            </label>
          </li>
        ))}
      </ul>
    </details>
  );
}

/** @returns the filter, or null where the condition cannot be read. */
function filterOf({ playerIds, sessionIds, from, until, condition, withUnnamed }: Choice): WireExportFilter | null {
  const [factor = '', level = '', ...rest] = condition.split('=').map((part) => part.trim());
  const isWithCondition = condition.trim() !== '';
  if (isWithCondition && (factor === '' || level === '' || rest.length > 0)) return null;
  return {
    ...(playerIds !== null && { playerIds: [...playerIds] }),
    ...(sessionIds !== null && { sessionIds: [...sessionIds] }),
    ...(from !== '' && { fromDay: from }),
    ...(until !== '' && { untilDay: until }),
    ...(isWithCondition && { condition: { factor, level } }),
    timeZone: Intl.DateTimeFormat().resolvedOptions().timeZone,
    withUnnamed,
  };
}
