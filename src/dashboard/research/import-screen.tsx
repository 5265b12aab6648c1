// Longer than most: the steps of an import hand one state on from file to question to progress.
import './research.css';
import { useEffect, useRef, useState } from 'preact/hooks';
import type { WirePlayer } from '../../server/wire/practice-document.ts';
import type { WireJob } from '../../server/wire/research-document.ts';
import { ask } from '../api.ts';
import { shownSize } from '../clock-time.ts';
import { hrefOf, hrefOfSession } from '../route.ts';
import { ColumnsForm } from './columns-form.tsx';
import { type ColumnChoice, guessedColumns, headerColumns, mappingOf, saysItself } from './csv-columns.ts';
import { SendingError, sendFiles } from './send-files.ts';
import { researchTexts } from './texts.ts';
import { useJob } from './use-job.ts';

const words = researchTexts.import;
/** As far as the first line of a CSV file is looked for. */
const headBytes = 16_384;

interface ChosenFile {
  readonly file: File;
  readonly isMcap: boolean;
  readonly names: readonly string[];
  readonly placement: '' | 'ball' | 'wrist';
  readonly filterDelayMs: string;
  /** Null where the names say it themselves. */
  readonly columns: ColumnChoice | null;
}

type Step =
  | { readonly kind: 'choose' }
  | { readonly kind: 'sending'; readonly share: number }
  | { readonly kind: 'working' };

/** Recordings made elsewhere, dragged in or chosen, become a session. */
export function ImportScreen() {
  const [files, setFiles] = useState<readonly ChosenFile[]>([]);
  const [players, setPlayers] = useState<readonly WirePlayer[]>([]);
  const [step, setStep] = useState<Step>({ kind: 'choose' });
  const [trouble, setTrouble] = useState<string | null>(null);
  const [isOver, setIsOver] = useState(false);
  const sending = useRef<AbortController | null>(null);
  const { job, trouble: jobTrouble, watch, stop } = useJob(() => setStep({ kind: 'choose' }));
  useEffect(() => {
    void ask<{ players: WirePlayer[] }>('GET', '/api/players').then(
      (answer) => answer.ok && setPlayers(answer.value.players),
    );
    return () => sending.current?.abort();
  }, []);

  const add = async (list: Iterable<File>): Promise<void> => {
    const added = await Promise.all([...list].map(readFile));
    const all = [...files, ...added];
    setTrouble(isMixed(all) ? words.mixed : null);
    watch(null);
    setFiles(all);
  };
  const change = (at: number, to: Partial<ChosenFile>): void =>
    setFiles(files.map((each, index) => (index === at ? { ...each, ...to } : each)));
  const leaveOut = (at: number): void => {
    const left = files.filter((_, index) => index !== at);
    setTrouble(isMixed(left) ? words.mixed : null);
    setFiles(left);
  };

  const send = async (event: SubmitEvent): Promise<void> => {
    event.preventDefault();
    const problem = problemOf(files);
    setTrouble(problem);
    if (problem !== null) return;
    const body = bodyOf(files, new FormData(event.currentTarget as HTMLFormElement));
    sending.current = new AbortController();
    setStep({ kind: 'sending', share: 0 });
    try {
      const onShare = (share: number): void => setStep({ kind: 'sending', share });
      const id = await sendFiles(
        files.map(({ file }) => file),
        onShare,
        sending.current.signal,
      );
      const answer = await ask<WireJob>('POST', `/api/imports/${encodeURIComponent(id)}/start`, body);
      if (!answer.ok) {
        void ask('DELETE', `/api/imports/${encodeURIComponent(id)}`);
        setTrouble(words.failed(answer.message));
        setStep({ kind: 'choose' });
        return;
      }
      setStep({ kind: 'working' });
      watch(answer.value);
    } catch (error) {
      setStep({ kind: 'choose' });
      setTrouble(
        sending.current?.signal.aborted
          ? words.cancelled
          : words.broken(error instanceof SendingError ? error.message : String(error)),
      );
    }
  };
  const cancel = (): void => {
    if (step.kind === 'sending') sending.current?.abort();
    else void stop();
  };

  const isCsv = files.some(({ isMcap }) => !isMcap);
  const done = job?.state === 'done' ? job : null;
  return (
    <section class="research form import" aria-labelledby="import-title">
      <p>
        <a href={hrefOf('sessions')}>{researchTexts.backToSessions}</a>
      </p>
      <h2 id="import-title">{words.title}</h2>
      <p>{words.intro}</p>
      {done !== null ? (
        <Done
          job={done}
          onMore={() => {
            watch(null);
            setFiles([]);
          }}
        />
      ) : (
        <form onSubmit={send} novalidate>
          {/* biome-ignore lint/a11y/noStaticElementInteractions: who cannot drag chooses files inside it. */}
          <div
            class="drop"
            data-over={isOver}
            onDragOver={(event) => {
              event.preventDefault();
              setIsOver(true);
            }}
            onDragLeave={() => setIsOver(false)}
            onDrop={(event) => {
              event.preventDefault();
              setIsOver(false);
              if (step.kind === 'choose') void add(event.dataTransfer?.files ?? []);
            }}
          >
            <strong>{words.drop}</strong>
            <label>
              {words.choose}
              <input
                type="file"
                multiple
                accept=".mcap,.csv,text/csv"
                disabled={step.kind !== 'choose'}
                onChange={(event) => {
                  void add(event.currentTarget.files ?? []);
                  event.currentTarget.value = '';
                }}
              />
            </label>
            <p class="note">{words.limit}</p>
          </div>
          {files.map((each, index) => (
            <FileLine
              key={`${each.file.name} ${each.file.size}`}
              chosen={each}
              onChange={(to) => change(index, to)}
              onLeaveOut={() => leaveOut(index)}
            />
          ))}
          {files.length > 0 && (
            <About isCsv={isCsv} players={players} hasArm={files.some(({ placement }) => placement === 'wrist')} />
          )}
          <p role="alert" class="stale">
            {trouble ??
              jobTrouble ??
              (job?.state === 'failed'
                ? words.failed(job.messages.join(' '))
                : job?.state === 'stopped'
                  ? words.cancelled
                  : '')}
          </p>
          <p class="inline-form">
            <button type="submit" class="plain" disabled={step.kind !== 'choose' || files.length === 0}>
              {words.send}
            </button>
            {step.kind !== 'choose' && (
              <>
                <button type="button" class="plain" onClick={cancel}>
                  {words.cancel}
                </button>
                <Progress step={step} job={job} />
              </>
            )}
          </p>
        </form>
      )}
    </section>
  );
}

function Progress({ step, job }: { readonly step: Step; readonly job: WireJob | null }) {
  const share = step.kind === 'sending' ? step.share : (job?.share ?? 0);
  const percent = Math.round(100 * share);
  const text =
    step.kind === 'sending' ? words.sending(percent) : job?.state === 'waiting' ? words.waits : words.working(percent);
  return (
    <span role="status" class="progress-line">
      <progress aria-label={text} max={1} value={share} /> {text}
    </span>
  );
}

function Done({ job, onMore }: { readonly job: WireJob; readonly onMore: () => void }) {
  return (
    <div role="status">
      <p>
        <strong>{words.done(job.counts.shots ?? 0)}</strong>
      </p>
      {job.messages.length > 0 && (
        <ul class="messages">
          {job.messages.map((message) => (
            <li key={message}>{message}</li>
          ))}
        </ul>
      )}
      <p class="inline-form">
        {job.sessionId !== null && <a href={hrefOfSession(job.sessionId)}>{words.open}</a>}
        <button type="button" class="plain" onClick={onMore}>
          {words.more}
        </button>
      </p>
    </div>
  );
}

interface FileLineProps {
  readonly chosen: ChosenFile;
  readonly onChange: (to: Partial<ChosenFile>) => void;
  readonly onLeaveOut: () => void;
}

function FileLine({
  chosen: { file, isMcap, names, placement, filterDelayMs, columns },
  onChange,
  onLeaveOut,
}: FileLineProps) {
  return (
    <fieldset class="file-line">
      <legend>
        {file.name} <span class="note">{shownSize(file.size)}</span>
      </legend>
      {isMcap ? (
        <p class="note">{words.mcapAlone}</p>
      ) : (
        <div class="grid-form">
          <label>
            {words.placement}
            <select
              value={placement}
              onChange={(event) => onChange({ placement: event.currentTarget.value as ChosenFile['placement'] })}
            >
              {(['', 'ball', 'wrist'] as const).map((each) => (
                <option key={each} value={each}>
                  {words.placements[each]}
                </option>
              ))}
            </select>
          </label>
          <label>
            {words.filterDelay}
            <input
              type="number"
              min={0}
              max={1000}
              step="any"
              value={filterDelayMs}
              onInput={(event) => onChange({ filterDelayMs: event.currentTarget.value })}
            />
          </label>
        </div>
      )}
      {!isMcap && columns === null && (
        <p class="note">
          {words.columnsOwn}{' '}
          <button type="button" class="plain" onClick={() => onChange({ columns: guessedColumns(names) })}>
            {words.columnsSay}
          </button>
        </p>
      )}
      {columns !== null && (
        <ColumnsForm name={file.name} names={names} columns={columns} onChange={(to) => onChange({ columns: to })} />
      )}
      <button type="button" class="plain" aria-label={words.removeOf(file.name)} onClick={onLeaveOut}>
        {words.remove}
      </button>
    </fieldset>
  );
}

interface AboutProps {
  readonly isCsv: boolean;
  readonly hasArm: boolean;
  readonly players: readonly WirePlayer[];
}

/** What of a practice does not stand in its files. */
function About({ isCsv, hasArm, players }: AboutProps) {
  const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
  const agreed = players.filter(({ consents }) =>
    consents.some(({ scope, withdrawnS }) => scope === 'record' && withdrawnS === null),
  );
  const number = (name: string, label: string, least: number, most: number) => (
    <label>
      {label}
      <input name={name} type="number" min={least} max={most} step="any" placeholder={words.asUsual} />
    </label>
  );
  return (
    <div class="grid-form about-import">
      <label>
        {words.name}
        <input name="name" type="text" maxLength={120} />
      </label>
      <label>
        {words.player}
        <select name="player">
          <option value="">{words.nobody}</option>
          {agreed.map(({ id, pseudonym }) => (
            <option key={id} value={id}>
              {pseudonym}
            </option>
          ))}
        </select>
      </label>
      {isCsv && (
        <label>
          {words.started}
          <input name="started" type="datetime-local" step="1" aria-describedby="started-note" />
          <span class="note" id="started-note">
            {words.startedNote}
          </span>
        </label>
      )}
      <label>
        {words.timeZone}
        <input name="timeZone" type="text" maxLength={60} defaultValue={zone} list="time-zones" />
        <datalist id="time-zones">
          {Intl.supportedValuesOf('timeZone').map((each) => (
            <option key={each} value={each} />
          ))}
        </datalist>
      </label>
      {hasArm && (
        <label>
          {words.mount}
          <select name="mount">
            {(['', 'forearm', 'back-of-hand'] as const).map((mount) => (
              <option key={mount} value={mount}>
                {words.mounts[mount]}
              </option>
            ))}
          </select>
        </label>
      )}
      {number('distanceM', words.distance, 0.5, 30)}
      {number('hoopHeightM', words.hoop, 1.5, 4)}
      {number('releaseHeightM', words.releaseHeight, 0.5, 4)}
      <label>
        {words.ballSize}
        <select name="ballSize">
          <option value="">{words.asUsual}</option>
          {[7, 6, 5].map((size) => (
            <option key={size} value={size}>
              {size}
            </option>
          ))}
        </select>
      </label>
    </div>
  );
}

async function readFile(file: File): Promise<ChosenFile> {
  const head = new Uint8Array(await file.slice(0, headBytes).arrayBuffer());
  const isMcap = file.name.toLowerCase().endsWith('.mcap') || String.fromCharCode(...head.subarray(1, 5)) === 'MCAP';
  const names = isMcap ? [] : headerColumns(new TextDecoder().decode(head));
  const columns = isMcap || saysItself(names) || names.length < 4 ? null : guessedColumns(names);
  const placement = /wrist|arm|hand/i.test(file.name) ? 'wrist' : /ball/i.test(file.name) ? 'ball' : '';
  return { file, isMcap, names, placement: isMcap ? '' : placement, filterDelayMs: '', columns };
}

function isMixed(files: readonly ChosenFile[]): boolean {
  return files.length > 1 && files.some(({ isMcap }) => isMcap);
}

/** @returns what has to be said before the files can be imported, or null. */
function problemOf(files: readonly ChosenFile[]): string | null {
  if (files.length === 0) return words.noFile;
  if (isMixed(files)) return words.mixed;
  const unplaced = files.find(({ isMcap, placement }) => !isMcap && placement === '');
  if (unplaced) return words.placementMissing(unplaced.file.name);
  const unsaid = files.find(({ columns }) => columns !== null && mappingOf(columns) === null);
  return unsaid ? words.columnsMissing(unsaid.file.name) : null;
}

function bodyOf(files: readonly ChosenFile[], said: FormData): object {
  const text = (name: string): string => String(said.get(name) ?? '').trim();
  const optional = (name: string, as: string, make: (value: string) => unknown = (value) => value) =>
    text(name) === '' ? {} : { [as]: make(text(name)) };
  return {
    files: files.map(({ isMcap, placement, filterDelayMs, columns }) => {
      if (isMcap || placement === '') return {};
      return {
        placement,
        ...(filterDelayMs !== '' && { filterDelayMs: Number(filterDelayMs) }),
        ...(columns !== null && { mapping: mappingOf(columns) }),
      };
    }),
    ...optional('name', 'name'),
    ...optional('player', 'playerId'),
    ...optional('started', 'started'),
    ...optional('timeZone', 'timeZone'),
    ...optional('mount', 'mount'),
    ...optional('distanceM', 'distanceM', Number),
    ...optional('hoopHeightM', 'hoopHeightM', Number),
    ...optional('releaseHeightM', 'releaseHeightM', Number),
    ...optional('ballSize', 'ballSize', Number),
  };
}
