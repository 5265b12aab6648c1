import { useMemo, useState } from 'preact/hooks';
import type { WireSession } from '../../server/wire/practice-document.ts';
import { ask } from '../api.ts';
import { shownDate } from '../clock-time.ts';
import { ReportLinks } from '../coaching/report-links.tsx';
import type { LiveState } from '../live-state.ts';
import { BenchKeys } from '../practice/bench-keys.tsx';
import { writeFactors } from '../practice/factor-words.ts';
import { emptyPractice, type Practice, PracticeDesk } from '../practice/practice-desk.ts';
import { StoredShots } from '../practice/stored-shots.tsx';
import { TrendPanel } from '../practice/trend-panel.tsx';
import { useDesk } from '../practice/use-desk.ts';
import { AnalysisLater } from '../research-screens.tsx';
import { hrefOf } from '../route.ts';
import { texts } from '../texts.ts';
import { changeMark } from '../use-reread.ts';

/** One practice of before: its words, its sets and its shots, all of which can still be put right. */
interface SessionScreenProps {
  readonly sessionId: string;
  readonly state: LiveState;
}

export function SessionScreen({ sessionId, state }: SessionScreenProps) {
  const desk = useMemo(() => new PracticeDesk(ask, sessionId), [sessionId]);
  const [chosen, setChosen] = useState<readonly string[]>([]);
  useDesk(desk, state);
  const practice = desk.practice.value;
  const { session, sets } = practice;
  return (
    <section class="session" aria-labelledby="session-title">
      <p>
        <a href={hrefOf('sessions')}>{texts.sessions.back}</a>
      </p>
      <h2 id="session-title">{session === null ? texts.sessions.title : titleOf(session)}</h2>
      <p role="alert" class="stale">
        {desk.trouble.value ?? ''}
      </p>
      {session !== null && <Words key={session.id} session={session} desk={desk} />}
      {sets.length > 0 && (
        <section class="panel" aria-labelledby="sets-title">
          <h3 id="sets-title">{texts.sessions.setsTitle}</h3>
          <ul class="set-list">
            {sets.map(({ id, kind, name, spot, factors, total }) => {
              const words = [texts.bench.setKinds[kind], name, spot, writeFactors(factors)]
                .filter((word) => word !== '')
                .join(', ');
              return (
                <li key={id}>{total === null ? words : texts.sessions.totalOf(words, total.made, total.attempted)}</li>
              );
            })}
          </ul>
        </section>
      )}
      {session !== null && practice.shots.length > 0 && <SessionReports practice={practice} session={session} />}
      <AnalysisLater sessionId={sessionId} mark={changeMark(state, sessionId)} onChanged={() => void desk.refresh()} />
      {(session !== null || practice === emptyPractice) && (
        <>
          <TrendPanel practice={practice} />
          <BenchKeys desk={desk} chosen={chosen} />
          <StoredShots practice={practice} desk={desk} chosen={chosen} onChoose={setChosen} />
        </>
      )}
    </section>
  );
}

/** Of all players together, and of each who shot. */
function SessionReports({ practice, session }: { readonly practice: Practice; readonly session: WireSession }) {
  const path = `/api/sessions/${encodeURIComponent(session.id)}/report`;
  const shooters = practice.players.filter(({ id }) => practice.shotsOf.some(({ playerId }) => playerId === id));
  return (
    <section class="panel" aria-labelledby="reports-title">
      <h3 id="reports-title">{texts.coaching.reports}</h3>
      <ReportLinks path={path} {...(shooters.length > 1 ? { of: texts.coaching.everybody } : {})} />
      {shooters.length > 1 &&
        shooters.map(({ id, pseudonym }) => (
          <ReportLinks key={id} path={`${path}?playerId=${encodeURIComponent(id)}`} of={pseudonym} />
        ))}
    </section>
  );
}

function titleOf({ name, startedS }: WireSession): string {
  return name === '' ? shownDate(startedS) : `${name}, ${shownDate(startedS)}`;
}

function Words({ session, desk }: { readonly session: WireSession; readonly desk: PracticeDesk }) {
  const [kept, setKept] = useState(false);
  const keep = async (event: SubmitEvent): Promise<void> => {
    event.preventDefault();
    const words = new FormData(event.currentTarget as HTMLFormElement);
    const change = { name: String(words.get('name') ?? ''), notes: String(words.get('notes') ?? '') };
    setKept(await desk.change('PATCH', `/api/sessions/${encodeURIComponent(session.id)}`, change));
  };
  return (
    <form class="panel grid-form words" onSubmit={keep} onInput={() => setKept(false)}>
      <label class="whole-row">
        {texts.sessions.name}
        <input name="name" type="text" maxLength={120} defaultValue={session.name} />
      </label>
      <label class="whole-row">
        {texts.sessions.notes}
        <textarea name="notes" rows={3} maxLength={4000} defaultValue={session.notes} />
      </label>
      <button type="submit">{texts.sessions.keep}</button>
      <p role="status">{kept ? texts.sessions.kept : ''}</p>
    </form>
  );
}
