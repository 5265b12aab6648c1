import { useState } from 'preact/hooks';
import type { WireSession } from '../../server/wire/practice-document.ts';
import { ask } from '../api.ts';
import { shownDate, shownSize } from '../clock-time.ts';
import type { LiveState } from '../live-state.ts';
import { TableHead } from '../parts/table-head.tsx';
import { WideTable } from '../parts/wide-table.tsx';
import { HubWorkPanel } from '../practice/hub-work-panel.tsx';
import { hrefOf, hrefOfSession } from '../route.ts';
import { texts } from '../texts.ts';
import { changeMark, useReread } from '../use-reread.ts';

const pageSize = 50;
/** More than these the service does not give at once. */
const mostAtOnce = 1000;

/** All practices, newest first. */
export function SessionsScreen({ state }: { readonly state: LiveState }) {
  const [sessions, setSessions] = useState<readonly WireSession[] | null>(null);
  const [complete, setComplete] = useState(false);
  const [trouble, setTrouble] = useState<string | null>(null);
  const read = async (before: readonly WireSession[]): Promise<void> => {
    const last = before.at(-1);
    const path = `/api/sessions?limit=${pageSize}${last ? `&beforeS=${last.startedS}` : ''}`;
    const answer = await ask<{ sessions: WireSession[] }>('GET', path);
    setTrouble(answer.ok ? null : texts.failed(answer.message));
    if (!answer.ok) return;
    setSessions([...before, ...answer.value.sessions]);
    setComplete(answer.value.sessions.length < pageSize);
  };
  /** As many as are shown already, as they are now. */
  const readAgain = async (): Promise<void> => {
    const limit = Math.min(mostAtOnce, Math.max(pageSize, sessions?.length ?? 0));
    const answer = await ask<{ sessions: WireSession[] }>('GET', `/api/sessions?limit=${limit}`);
    setTrouble(answer.ok ? null : texts.failed(answer.message));
    if (!answer.ok) return;
    const anew = answer.value.sessions;
    const isAll = anew.length < limit;
    if (isAll || sessions === null) setComplete(isAll);
    setSessions((before) => [...anew, ...(isAll ? [] : (before ?? []).slice(limit))]);
  };
  useReread(readAgain, changeMark(state, null));
  const star = async (session: WireSession): Promise<void> => {
    const path = `/api/sessions/${encodeURIComponent(session.id)}`;
    const answer = await ask<WireSession>('PATCH', path, { starred: !session.starred });
    setTrouble(answer.ok ? null : texts.failed(answer.message));
    if (!answer.ok || sessions === null) return;
    const { starred } = answer.value;
    setSessions(sessions.map((one) => (one.id === session.id ? { ...one, starred } : one)));
  };
  return (
    <section class="sessions" aria-labelledby="sessions-title">
      <h2 id="sessions-title">{texts.sessions.title}</h2>
      <p role="alert" class="stale">
        {trouble ?? ''}
      </p>
      {sessions?.length === 0 && <p>{texts.sessions.none}</p>}
      {sessions !== null && sessions.length > 0 && (
        <WideTable label={texts.sessions.title}>
          <table class="stored stacks sessions-table">
            <TableHead
              columns={(['start', 'name', 'shots', 'recording', 'keep'] as const).map(
                (column) => texts.sessions.columns[column],
              )}
            />
            <tbody>
              {sessions.map((session) => (
                <SessionRow key={session.id} session={session} onStar={() => void star(session)} />
              ))}
            </tbody>
          </table>
        </WideTable>
      )}
      {sessions !== null && !complete && (
        <p class="panel">
          <button type="button" onClick={() => void read(sessions)}>
            {texts.sessions.more}
          </button>
        </p>
      )}
      {state.hello?.isHub && <HubWorkPanel />}
      {/* A hub has neither sensors nor recordings of its own: courts import, and its workers write the exports. */}
      {!state.hello?.isHub && (
        <p class="panel">
          <a href={hrefOf('import')}>{texts.sessions.import}</a> ·{' '}
          <a href={hrefOf('export')}>{texts.sessions.export}</a> ·{' '}
          <a href={hrefOf('live-signals')}>{texts.sessions.liveSignals}</a>
        </p>
      )}
    </section>
  );
}

function SessionRow({ session, onStar }: { readonly session: WireSession; readonly onStar: () => void }) {
  const { id, name, startedS, endedS, simulated, starred, shotCount = 0, setCount = 0 } = session;
  const about = [endedS === null ? texts.sessions.running : null, simulated ? texts.sessions.simulated : null];
  const start = shownDate(startedS);
  return (
    <tr data-session={id}>
      <th scope="row">
        <a href={hrefOfSession(id)}>{start}</a>
      </th>
      <td class="session-name">
        {[name === '' ? texts.sessions.unnamed : name, ...about].filter((part) => part !== null).join(', ')}
      </td>
      <td>
        {texts.sessions.shots(shotCount)}
        {setCount > 0 && `, ${texts.sessions.sets(setCount)}`}
      </td>
      <td data-label={texts.sessions.columns.recording}>{recordingText(session)}</td>
      <td class="session-keep">
        <button
          type="button"
          class="small"
          aria-pressed={starred}
          aria-label={texts.sessions.starOf(start)}
          onClick={onStar}
        >
          {starred ? texts.sessions.starred : texts.sessions.star}
        </button>
      </td>
    </tr>
  );
}

function recordingText({ recordingBytes, recordingDeletedS }: WireSession): string {
  if (recordingDeletedS !== null) return texts.sessions.deleted(shownDate(recordingDeletedS));
  return recordingBytes === null ? texts.sessions.noRecording : shownSize(recordingBytes);
}
