import './research.css';
import { useEffect, useState } from 'preact/hooks';
import type { WireSession, WireStoredShot } from '../../server/wire/practice-document.ts';
import type { WireAnalysisRun, WireJob } from '../../server/wire/research-document.ts';
import type { ShotMeasureName, WireShot } from '../../server/wire/shot-document.ts';
import { ask } from '../api.ts';
import { shownDate } from '../clock-time.ts';
import { measureFormats } from '../measures.ts';
import { MeasureText } from '../parts/measure-text.tsx';
import { WideTable } from '../parts/wide-table.tsx';
import { hrefOfSignals } from '../route.ts';
import { userFormat } from '../settings/current-settings.ts';
import { measureLabels, reasonText, texts } from '../texts.ts';
import { useReread } from '../use-reread.ts';
import { researchTexts } from './texts.ts';
import { useJob } from './use-job.ts';

const words = researchTexts.analysis;

interface AnalysisPanelProps {
  readonly sessionId: string;
  /** Another one whenever the session may have changed. */
  readonly mark: string;
  readonly onChanged: () => void;
}

/** What can be done with the recording of a session: see its signals, have it gone through again, compare old and new numbers. */
export function AnalysisPanel({ sessionId, mark, onChanged }: AnalysisPanelProps) {
  const path = `/api/sessions/${encodeURIComponent(sessionId)}`;
  const [session, setSession] = useState<WireSession | null>(null);
  const [runs, setRuns] = useState<readonly WireAnalysisRun[]>([]);
  const [trouble, setTrouble] = useState<string | null>(null);
  const read = async (): Promise<void> => {
    const [about, analyses] = await Promise.all([
      ask<{ session: WireSession }>('GET', path),
      ask<{ runs: WireAnalysisRun[] }>('GET', `${path}/analyses`),
    ]);
    if (about.ok) setSession(about.value.session);
    if (analyses.ok) setRuns(analyses.value.runs);
  };
  const {
    job,
    trouble: jobTrouble,
    watch,
    stop,
  } = useJob(() => {
    void read();
    onChanged();
  });
  useReread(read, `${sessionId} ${mark}`);
  useEffect(() => {
    void ask<{ jobs: WireJob[] }>('GET', '/api/jobs').then((answer) => {
      const running =
        answer.ok &&
        answer.value.jobs.find(
          (each) => each.kind === 'reanalysis' && each.sessionId === sessionId && each.endedS === null,
        );
      if (running) watch(running);
    });
  }, [sessionId]);
  const begin = async (): Promise<void> => {
    const answer = await ask<WireJob>('POST', `${path}/analyses`, {});
    setTrouble(answer.ok ? null : texts.failed(answer.message));
    if (answer.ok) watch(answer.value);
  };
  if (session === null) return null;
  const isOpen = job !== null && job.endedS === null;
  return (
    <section class="research panel" aria-labelledby="recording-title">
      <h3 id="recording-title">{words.title}</h3>
      {session.recording === null ? (
        <p class="note">{words.none}</p>
      ) : (
        <p class="inline-form">
          <a class="button" href={hrefOfSignals(sessionId)}>
            {words.show}
          </a>
          {isOpen ? (
            <button type="button" onClick={() => void stop()}>
              {words.stop}
            </button>
          ) : (
            <button type="button" onClick={() => void begin()}>
              {words.again}
            </button>
          )}
        </p>
      )}
      <p role="status">{job === null ? '' : jobText(job)}</p>
      <p role="alert" class="stale">
        {trouble ?? jobTrouble ?? (job?.state === 'failed' ? texts.failed(job.messages.join(' ')) : '')}
      </p>
      {runs.length > 0 && <Runs runs={runs} />}
      {runs.length > 0 && <OldNumbers sessionId={sessionId} />}
    </section>
  );
}

function jobText({ state, share, counts }: WireJob): string {
  const { again = 0, changed = 0, added = 0, notFound = 0 } = counts;
  if (state === 'waiting') return words.waits;
  if (state === 'running') return words.running(Math.round(100 * share));
  if (state === 'stopped') return words.stopped;
  return state === 'done' ? words.done(again, changed, added, notFound) : '';
}

function Runs({ runs }: { readonly runs: readonly WireAnalysisRun[] }) {
  const columns = ['when', 'who', 'version', 'again', 'changed', 'added', 'notFound'] as const;
  return (
    <WideTable label={words.runs}>
      <table class="stored">
        <caption class="unseen">{words.runs}</caption>
        <thead>
          <tr>
            {columns.map((column) => (
              <th key={column} scope="col">
                {words.runsColumns[column]}
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {runs.map((run) => (
            <tr key={run.id}>
              <th scope="row">{shownDate(run.madeS)}</th>
              <td>{run.byName}</td>
              <td>{run.analysisVersion}</td>
              <td>{run.again}</td>
              <td>{run.changed}</td>
              <td>{run.added}</td>
              <td>{run.notFound}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </WideTable>
  );
}

interface OldResult {
  readonly createdS: number;
  readonly isCurrent: boolean;
  readonly shot: WireShot;
}

/** What every analysis said of one shot, side by side. */
function OldNumbers({ sessionId }: { readonly sessionId: string }) {
  const [shots, setShots] = useState<readonly WireStoredShot[]>([]);
  const [at, setAt] = useState(0);
  const [results, setResults] = useState<readonly OldResult[]>([]);
  const [isOpen, setIsOpen] = useState(false);
  useEffect(() => {
    if (!isOpen) return;
    const path = `/api/sessions/${encodeURIComponent(sessionId)}/shots?limit=500`;
    void ask<{ shots: WireStoredShot[] }>('GET', path).then((answer) => answer.ok && setShots(answer.value.shots));
  }, [isOpen, sessionId]);
  const shotId = shots[at]?.id;
  useEffect(() => {
    if (shotId === undefined) return;
    const path = `/api/shots/${encodeURIComponent(shotId)}/results`;
    void ask<{ results: OldResult[] }>('GET', path).then((answer) => answer.ok && setResults(answer.value.results));
  }, [shotId]);
  const newestFirst = results.toReversed();
  return (
    <details class="signal-table" onToggle={(event) => setIsOpen(event.currentTarget.open)}>
      <summary>{words.older}</summary>
      <p class="note">{words.olderNote}</p>
      <div class="inline-form">
        <label>
          {words.olderShot}
          <select value={at} onChange={(event) => setAt(Number(event.currentTarget.value))}>
            {shots.map((shot, index) => (
              <option key={shot.id} value={index}>
                {index + 1}
              </option>
            ))}
          </select>
        </label>
      </div>
      <WideTable label={words.older}>
        <table class="stored">
          <thead>
            <tr>
              <th scope="col">{words.measure}</th>
              {newestFirst.map(({ createdS, isCurrent }) => (
                <th key={createdS} scope="col">
                  {isCurrent ? words.current(shownDate(createdS)) : words.before(shownDate(createdS))}
                </th>
              ))}
            </tr>
          </thead>
          <tbody>
            {measureFormats.map(({ name }) => (
              <tr key={name}>
                <th scope="row">{measureLabels[name]}</th>
                {newestFirst.map(({ createdS, shot }) => (
                  <td key={createdS}>
                    <Cell shot={shot} name={name} />
                  </td>
                ))}
              </tr>
            ))}
          </tbody>
        </table>
      </WideTable>
    </details>
  );
}

function Cell({ shot, name }: { readonly shot: WireShot; readonly name: ShotMeasureName }) {
  const measured = shot.measures[name];
  if (measured?.value == null)
    return <span class="note">{measured ? reasonText(measured.reason) : texts.missing}</span>;
  return <MeasureText measured={measured} format={userFormat(name)} />;
}
