import { useEffect, useState } from 'preact/hooks';
import type { WireHubJob, WireHubJobs } from '../../server/wire/hub-job-document.ts';
import { ask } from '../api.ts';
import { shownDate, shownSize } from '../clock-time.ts';
import { TableHead } from '../parts/table-head.tsx';
import { WideTable } from '../parts/wide-table.tsx';
import { hrefOfSession } from '../route.ts';
import { texts } from '../texts.ts';

const words = texts.hubWork;
const askAgainMs = 2000;
const shown = 20;

/** On a hub: what its workers have to do, how far they are, and what was put aside with its reason. */
export function HubWorkPanel() {
  const [work, setWork] = useState<WireHubJobs | null>(null);
  const [trouble, setTrouble] = useState<string | null>(null);
  const [said, setSaid] = useState('');
  const [withSamples, setWithSamples] = useState(false);
  const read = async (): Promise<void> => {
    const answer = await ask<WireHubJobs>('GET', `/api/hub/jobs?limit=${shown}`);
    setTrouble(answer.ok ? null : texts.failed(answer.message));
    if (answer.ok) setWork(answer.value);
  };
  useEffect(() => {
    void read();
    const timer = setInterval(() => void read(), askAgainMs);
    return () => clearInterval(timer);
  }, []);
  const change = async (method: 'POST' | 'DELETE', path: string, body?: object): Promise<void> => {
    const answer = await ask<{ asked?: number }>(method, path, body);
    setTrouble(answer.ok ? null : texts.failed(answer.message));
    setSaid(answer.ok && answer.value.asked !== undefined ? words.asked(answer.value.asked) : '');
    await read();
  };
  const exported = { filter: {}, samples: withSamples, raw: withSamples };
  return (
    <section class="panel hub-work" aria-labelledby="hub-work">
      <h3 id="hub-work">{words.title}</h3>
      {work !== null && <p>{sumsOf(work)}</p>}
      <p class="inline-form">
        <button type="button" onClick={() => void change('POST', '/api/hub/reanalyses', {})}>
          {words.again}
        </button>
        <button type="button" onClick={() => void change('POST', '/api/hub/exports', exported)}>
          {words.export}
        </button>
        <label class="beside">
          <input
            type="checkbox"
            checked={withSamples}
            onChange={(event) => setWithSamples(event.currentTarget.checked)}
          />{' '}
          {words.withSamples}
        </label>
      </p>
      <p class="note">{words.note}</p>
      <p role="status">{said}</p>
      <p role="alert" class="stale">
        {trouble ?? ''}
      </p>
      {work?.jobs.length === 0 && <p>{words.none}</p>}
      {work !== null && work.jobs.length > 0 && (
        <WideTable label={words.title}>
          <table class="stored stacks">
            <caption class="unseen">{words.title}</caption>
            <TableHead
              columns={(['what', 'state', 'worker', 'asked', 'change'] as const).map((column) => words.columns[column])}
            />
            <tbody>
              {work.jobs.map((job) => (
                <JobRow key={job.id} job={job} onChange={(method, path) => void change(method, path)} />
              ))}
            </tbody>
          </table>
        </WideTable>
      )}
    </section>
  );
}

function sumsOf({ counts: { running, waiting, parked, done } }: WireHubJobs): string {
  return words.sums(running, waiting, parked, done);
}

interface JobRowProps {
  readonly job: WireHubJob;
  readonly onChange: (method: 'POST' | 'DELETE', path: string) => void;
}

function JobRow({ job, onChange }: JobRowProps) {
  const { id, kind, state, share, worker, reason, sessionId, session, askedS, byName, tries } = job;
  const path = `/api/hub/jobs/${encodeURIComponent(id)}`;
  const percent = Math.round(100 * share);
  return (
    <tr data-job={id} data-state={state}>
      <th scope="row">
        {words.kinds[kind]}
        {sessionId !== null && (
          <>
            {': '}
            {session === null ? (
              words.gone
            ) : (
              <a href={hrefOfSession(sessionId)}>{session.name || shownDate(session.startedS)}</a>
            )}
          </>
        )}
      </th>
      <td>
        {state === 'waiting' && reason !== null ? words.failed(tries) : words.states[state]}
        {state === 'running' && (
          <>
            {' '}
            <progress max={100} value={percent} aria-label={words.progress(percent)} /> {words.progress(percent)}
          </>
        )}
        {state === 'done' && ` · ${resultOf(job)}`}
        {reason !== null && (
          <p class="note" data-from="worker">
            {reason}
          </p>
        )}
      </td>
      <td>{worker ?? ''}</td>
      <td>{words.askedBy(shownDate(askedS), byName)}</td>
      <td>
        {(state === 'waiting' || state === 'running' || state === 'parked') && (
          <button type="button" class="small" onClick={() => onChange('DELETE', path)}>
            {state === 'parked' ? words.letGo : words.stop}
          </button>
        )}
        {(state === 'parked' || state === 'stopped') && (
          <button type="button" class="small" onClick={() => onChange('POST', `${path}/try-again`)}>
            {words.tryAgain}
          </button>
        )}
        {kind === 'export' && state === 'done' && (
          <a class="button" href={`${path}/download`} download>
            {words.download}
          </a>
        )}
      </td>
    </tr>
  );
}

function resultOf({ kind, counts: { shots = 0, bytes, again = 0, added = 0 } }: WireHubJob): string {
  if (kind === 'reanalysis') return words.found(again, added);
  return bytes === undefined ? words.written(shots) : `${words.written(shots)}, ${shownSize(bytes)}`;
}
