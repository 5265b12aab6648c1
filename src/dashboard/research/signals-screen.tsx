import './research.css';
import { useSignal } from '@preact/signals';
import { useEffect, useMemo, useRef, useState } from 'preact/hooks';
import type { WireSession, WireStoredShot } from '../../server/wire/practice-document.ts';
import type { SignalGroup, WireSignals } from '../../server/wire/signal-document.ts';
import { ask } from '../api.ts';
import { shownDate } from '../clock-time.ts';
import { hrefOf, hrefOfSession } from '../route.ts';
import { texts } from '../texts.ts';
import { useReread } from '../use-reread.ts';
import { ChoicesFold } from './choices-fold.tsx';
import { LineChoices } from './line-choices.tsx';
import type { WireMark } from './marks-panel.tsx';
import { MarksPanel } from './marks-panel.tsx';
import { PhasePanel } from './phase-panel.tsx';
import { type ViewedShot, viewedShots } from './shot-phases.ts';
import { SignalTable } from './signal-table.tsx';
import { SignalViewer, type ViewerControl } from './signal-viewer.tsx';
import { aboutStream, keyOf, nameOf } from './stream-names.ts';
import { researchTexts } from './texts.ts';
import type { ViewRange } from './view-range.ts';

const words = researchTexts.signals;
const askAgainMs = 400;

interface SignalsScreenProps {
  readonly sessionId: string;
  /** Another one whenever shots or marks of the session may have changed. */
  readonly mark: string;
}

/** What the recording of a session holds: the signals, the times found in them, marks. */
export function SignalsScreen({ sessionId, mark }: SignalsScreenProps) {
  const path = `/api/sessions/${encodeURIComponent(sessionId)}`;
  const [session, setSession] = useState<WireSession | null>(null);
  const [marks, setMarks] = useState<readonly WireMark[]>([]);
  const [shots, setShots] = useState<readonly WireStoredShot[] | null>(null);
  const [signals, setSignals] = useState<WireSignals | null>(null);
  const [trouble, setTrouble] = useState<string | null>(null);

  const readSession = async (): Promise<void> => {
    const answer = await ask<{ session: WireSession; marks: WireMark[] }>('GET', path);
    if (!answer.ok) return setTrouble(texts.failed(answer.message));
    setSession(answer.value.session);
    setMarks(answer.value.marks);
  };
  const readShots = async (): Promise<void> => {
    const all: WireStoredShot[] = [];
    for (;;) {
      const last = all.at(-1);
      const after = last ? `&afterS=${last.atS}&afterId=${encodeURIComponent(last.id)}` : '';
      const answer = await ask<{ shots: WireStoredShot[] }>('GET', `${path}/shots?limit=500${after}`);
      if (!answer.ok) return setTrouble(texts.failed(answer.message));
      all.push(...answer.value.shots);
      if (answer.value.shots.length < 500) break;
    }
    setShots(all);
  };
  const readSignals = async (anew: boolean): Promise<void> => {
    const answer = await ask<WireSignals>('GET', `${path}/signals${anew ? '?anew=true' : ''}`);
    if (!answer.ok) return setTrouble(texts.failed(answer.message));
    setTrouble(null);
    setSignals(answer.value);
  };
  useEffect(() => {
    void readSignals(false);
  }, [sessionId]);
  useReread(async () => void (await Promise.all([readSession(), readShots()])), `${sessionId} ${mark}`);
  useEffect(() => {
    if (signals?.state !== 'reading') return;
    const timer = setTimeout(() => void readSignals(false), askAgainMs);
    return () => clearTimeout(timer);
  }, [signals]);

  return (
    <section class="research signals" aria-labelledby="signals-title">
      <p>
        <a href={hrefOfSession(sessionId)}>{researchTexts.back}</a>
      </p>
      <h2 id="signals-title">{words.title(session === null ? '…' : session.name || shownDate(session.startedS))}</h2>
      <p role="alert" class="stale">
        {trouble ?? ''}
      </p>
      {signals?.state === 'reading' && (
        <p role="status" class="progress-line">
          <progress aria-label={words.reading(0)} max={1} value={signals.share} />{' '}
          {words.reading(Math.round(100 * signals.share))}
        </p>
      )}
      {signals?.state === 'ready' && (
        <>
          {signals.isRunning && (
            <p class="note">
              {words.running} <a href={hrefOf('live-signals')}>{texts.sessions.liveSignals}</a>{' '}
              <button type="button" class="plain" onClick={() => void readSignals(true)}>
                {words.readAnew}
              </button>
            </p>
          )}
          {signals.streams.length === 0 ? (
            <p>{words.noStream}</p>
          ) : (
            <OpenedSignals
              key={signals.readS}
              sessionId={sessionId}
              signals={signals}
              shots={shots ?? []}
              shotsAreRead={shots !== null}
              marks={marks}
              onShots={readShots}
              onMarks={readSession}
              onTrouble={setTrouble}
            />
          )}
        </>
      )}
    </section>
  );
}

interface OpenedSignalsProps {
  readonly sessionId: string;
  readonly signals: Extract<WireSignals, { state: 'ready' }>;
  readonly shots: readonly WireStoredShot[];
  /** Until they are, nobody knows that there is none. */
  readonly shotsAreRead: boolean;
  readonly marks: readonly WireMark[];
  readonly onShots: () => Promise<void>;
  readonly onMarks: () => Promise<void>;
  readonly onTrouble: (message: string | null) => void;
}

function OpenedSignals(props: OpenedSignalsProps) {
  const { sessionId, signals, shots, shotsAreRead, marks, onShots, onMarks, onTrouble } = props;
  const { streams, startedS } = signals;
  const viewed = useMemo(() => viewedShots(shots, streams), [shots, streams]);
  const [chosenId, setChosenId] = useState<string | null>(null);
  const chosen = viewed.find(({ id }) => id === chosenId) ?? null;
  const [hidden, setHidden] = useState<ReadonlySet<string>>(new Set());
  const [groups, setGroups] = useState<readonly SignalGroup[]>(() =>
    streams.length > 4 ? ['accel'] : ['accel', 'gyro'],
  );
  const [lines, setLines] = useState<readonly boolean[]>([true, true, true, true]);
  // Changes many times a second while it runs by: only what shows it is rendered again.
  const view = useSignal<ViewRange>({ fromS: 0, spanS: 1 });
  const middle = (): number => view.peek().fromS + view.peek().spanS / 2;
  const control = useRef<ViewerControl | null>(null);
  const [changes, setChanges] = useState<readonly string[]>([]);
  const shown = streams.filter((stream) => !hidden.has(keyOf(stream)));

  const choose = (shot: ViewedShot | undefined): void => {
    if (!shot) return;
    setChosenId(shot.id);
    const margin = Math.max(0.4, 0.35 * (shot.untilS - shot.fromS));
    control.current?.show({ fromS: shot.fromS - margin, spanS: shot.untilS - shot.fromS + 2 * margin });
  };
  const step = (by: number): void => {
    const at = viewed.findIndex(({ id }) => id === chosenId);
    const middleS = middle();
    const next =
      by > 0
        ? viewed.findIndex(({ fromS }) => fromS > middleS)
        : viewed.findLastIndex(({ untilS }) => untilS < middleS);
    choose(at < 0 ? (viewed[next] ?? viewed[0]) : viewed[Math.min(viewed.length - 1, Math.max(0, at + by))]);
  };
  useEffect(() => {
    // The first thing to be seen is a shot, where there is one.
    if (chosenId === null && viewed.length > 0) choose(viewed[0]);
  }, [viewed]);

  const change = async (method: 'PUT' | 'DELETE' | 'POST', path: string, body?: object): Promise<boolean> => {
    const answer = await ask<{ changeId?: string }>(method, path, body);
    onTrouble(answer.ok ? null : texts.failed(answer.message));
    if (answer.ok && answer.value?.changeId !== undefined) setChanges([...changes, answer.value.changeId]);
    await onShots();
    return answer.ok;
  };
  const undo = async (): Promise<void> => {
    const last = changes.at(-1);
    if (last === undefined) return;
    if (await change('POST', `/api/changes/${encodeURIComponent(last)}/undo`, {})) setChanges(changes.slice(0, -1));
  };
  const addMark = async (): Promise<void> => {
    const middleS = middle();
    // The eye finds the middle of the view to about a pixel; half a sample is the least that there can be.
    const uncertaintyS = Math.max(view.peek().spanS / 1000, 0.5 / Math.max(...streams.map(({ rateHz }) => rateHz)));
    const body = { atS: startedS + middleS, uncertaintyS: Math.min(60, uncertaintyS), name: '' };
    const answer = await ask('POST', `/api/sessions/${encodeURIComponent(sessionId)}/marks`, body);
    onTrouble(answer.ok ? null : texts.failed(answer.message));
    await onMarks();
  };

  return (
    <>
      <ChoicesFold>
        <LineChoices groups={groups} onGroups={setGroups} lines={lines} onLines={setLines} />
        <fieldset>
          <legend>{words.sensorsLabel}</legend>
          {streams.map((stream) => (
            <label key={keyOf(stream)} class="choice" title={aboutStream(stream)}>
              <input
                type="checkbox"
                checked={!hidden.has(keyOf(stream))}
                onChange={() => {
                  const next = new Set(hidden);
                  if (!next.delete(keyOf(stream))) next.add(keyOf(stream));
                  setHidden(next);
                }}
              />
              {nameOf(stream)}
            </label>
          ))}
        </fieldset>
      </ChoicesFold>
      <SignalViewer
        sessionId={sessionId}
        streams={shown}
        allStreams={streams}
        groups={groups}
        lines={lines}
        shots={viewed}
        chosen={chosen}
        marks={marks.map((mark) => ({
          id: mark.id,
          name: mark.name,
          timeS: mark.atS - startedS,
          errorS: mark.uncertaintyS,
        }))}
        control={control}
        view={view}
        onStep={step}
        onAddMark={() => void addMark()}
        onChoose={(id) => choose(viewed.find((shot) => shot.id === id))}
        onSet={(shot, phase, timeS, resolutionS) =>
          change('PUT', `/api/shots/${encodeURIComponent(shot.id)}/times/${phase}`, { timeS, resolutionS })
        }
        onTrouble={onTrouble}
      />
      {shotsAreRead && viewed.length === 0 && <p class="note">{words.noShots}</p>}
      <div class="signal-panels">
        {chosen !== null && (
          <PhasePanel
            shot={chosen}
            middle={middle}
            canUndo={changes.length > 0}
            onUndo={() => void undo()}
            onSet={(phase, timeS, resolutionS) =>
              void change('PUT', `/api/shots/${encodeURIComponent(chosen.id)}/times/${phase}`, { timeS, resolutionS })
            }
            onTakeBack={(phase) => void change('DELETE', `/api/shots/${encodeURIComponent(chosen.id)}/times/${phase}`)}
          />
        )}
        <MarksPanel
          marks={marks}
          startedS={startedS}
          onShow={(timeS) => control.current?.show({ fromS: timeS - view.peek().spanS / 2, spanS: view.peek().spanS })}
          onAdd={() => void addMark()}
          onChanged={onMarks}
          onTrouble={onTrouble}
        />
      </div>
      <SignalTable sessionId={sessionId} streams={streams} view={view} />
    </>
  );
}
