import '../research.css';
import { useEffect, useLayoutEffect, useMemo, useRef, useState } from 'preact/hooks';
import type { SignalGroup } from '../../../server/wire/signal-document.ts';
import { shownTime } from '../../clock-time.ts';
import type { LiveState } from '../../live-state.ts';
import { hrefOf } from '../../route.ts';
import { ChoicesFold } from '../choices-fold.tsx';
import { LineChoices } from '../line-choices.tsx';
import { chartColours } from '../signal-chart.ts';
import { limitText, nameOf } from '../stream-names.ts';
import { researchTexts } from '../texts.ts';
import { watchLook } from '../watch-look.ts';
import { type HeldStream, LiveFeed, type SampleSocket } from './live-feed.ts';
import { liveMarks, liveShots } from './live-marks.ts';
import { type LiveRow, LiveStage } from './live-stage.ts';
import { ShotTimes } from './shot-times.tsx';

const words = researchTexts.live;
const signalWords = researchTexts.signals;
const spansS = [2, 5, 10, 30] as const;

/** What the sensors of the running practice send, as it comes, with the times of shots as they are found. */
export function LiveSignalsScreen({ state }: { readonly state: LiveState }) {
  const [streams, setStreams] = useState<readonly HeldStream[]>([]);
  const [connection, setConnection] = useState({ isOpen: false, leftOut: 0 });
  const [groups, setGroups] = useState<readonly SignalGroup[]>(['accel', 'gyro']);
  const [lines, setLines] = useState<readonly boolean[]>([true, true, true, true]);
  const [hidden, setHidden] = useState<ReadonlySet<string>>(new Set());
  const [spanS, setSpanS] = useState<number>(10);
  const [isHeld, setIsHeld] = useState(false);
  const [limits, setLimits] = useState<ReadonlyMap<string, number>>(new Map());
  const viewport = useRef<HTMLDivElement>(null);
  const mover = useRef<HTMLDivElement>(null);
  const stage = useRef<LiveStage | null>(null);
  const feed = useMemo(() => openFeed(setStreams, setConnection), []);

  // One of each sensor: the newest.
  const sensors = [...new Map(streams.map((stream) => [stream.about.sensorId, stream.about])).values()];
  const rows: readonly LiveRow[] = sensors
    .filter(({ sensorId }) => !hidden.has(sensorId))
    .flatMap(({ sensorId, hasGyro }) =>
      groups
        .filter((group) => group === 'accel' || hasGyro)
        .map((group) => ({ key: `${group} ${sensorId}`, sensorId, group })),
    );
  const rowPx = rows.length <= 2 ? 176 : rows.length <= 4 ? 128 : rows.length <= 8 ? 88 : 68;
  const rowKeys = rows.map(({ key }) => key).join('\n');

  useEffect(() => {
    feed.start();
    return () => feed.stop();
  }, [feed]);
  useLayoutEffect(() => {
    const [element, moving] = [viewport.current, mover.current];
    if (!element || !moving) return;
    const inJumps = window.matchMedia('(prefers-reduced-motion: reduce)').matches;
    const opened = new LiveStage(
      element,
      moving,
      { spanS, rowPx, shown: lines, inJumps },
      {
        colours: () => ({ ...chartColours(element), gap: getComputedStyle(element).getPropertyValue('--gap').trim() }),
        nowS: () => feed.serviceNowS,
        streams: () => feed.streams,
        tickWord: shownTick,
        onLimit: (key, limit) => setLimits((all) => new Map(all).set(key, limit)),
      },
    );
    stage.current = opened;
    const unwatch = watchLook(element, () => opened.redraw());
    return () => {
      unwatch();
      opened.close();
    };
  }, [feed]);
  useLayoutEffect(() => {
    const inJumps = window.matchMedia('(prefers-reduced-motion: reduce)').matches;
    stage.current?.setRows(rows, { spanS, rowPx, shown: lines, inJumps });
  }, [rowKeys, rowPx, lines, spanS]);
  useLayoutEffect(() => stage.current?.hold(isHeld), [isHeld]);
  const shots = liveShots(state.shots, streams);
  useLayoutEffect(() => stage.current?.setMarks(liveMarks(shots)), [state.shots, streams]);

  return (
    <section class="research signals" aria-labelledby="live-signals-title">
      <p>
        <a href={hrefOf('sessions')}>{researchTexts.backToSessions}</a>
      </p>
      <h2 id="live-signals-title">{words.title}</h2>
      <p role="alert" class="stale">
        {connection.isOpen ? '' : words.lost}
      </p>
      {connection.isOpen && sensors.length === 0 && <p>{words.none}</p>}
      {connection.leftOut > 0 && <p class="note">{words.leftOut(connection.leftOut)}</p>}
      <ChoicesFold>
        <LineChoices groups={groups} onGroups={setGroups} lines={lines} onLines={setLines} />
        {sensors.length > 0 && (
          <fieldset>
            <legend>{signalWords.sensorsLabel}</legend>
            {sensors.map(({ sensorId, placement, rateHz, isCalibrated }) => (
              <label key={sensorId} class="choice" title={words.about(rateHz.toFixed(1), isCalibrated)}>
                <input
                  type="checkbox"
                  checked={!hidden.has(sensorId)}
                  onChange={() => {
                    const next = new Set(hidden);
                    if (!next.delete(sensorId)) next.add(sensorId);
                    setHidden(next);
                  }}
                />
                {nameOf({ sensorId, placement, streamIndex: 0 })}
              </label>
            ))}
          </fieldset>
        )}
        <fieldset>
          <legend>{words.span}</legend>
          {spansS.map((each) => (
            <label key={each} class="choice">
              <input type="radio" name="span" checked={spanS === each} onChange={() => setSpanS(each)} />
              {words.spanOf(each)}
            </label>
          ))}
        </fieldset>
      </ChoicesFold>
      <div class="stage-tools">
        <button type="button" aria-pressed={isHeld} onClick={() => setIsHeld(!isHeld)}>
          {isHeld ? words.goOn : words.hold}
        </button>
      </div>
      <div class="stage live-stage">
        <div class="stage-viewport" ref={viewport}>
          <div class="stage-band" />
          {rows.map(({ key, sensorId, group }) => {
            const about = sensors.find((sensor) => sensor.sensorId === sensorId);
            const name = about === undefined ? '' : nameOf({ ...about, streamIndex: 0 });
            const title = signalWords.chart(name, signalWords.groups[group]);
            return (
              <div key={key} class="chart-row" style={{ height: `${rowPx}px` }} data-chart={key}>
                <p class="chart-label">
                  {title}{' '}
                  <span class="note">
                    {signalWords.limit(limitText(limits.get(key) ?? 1), signalWords.units[group])}
                  </span>
                </p>
              </div>
            );
          })}
          <div class="stage-axis" />
          <div class="stage-mover" ref={mover} role="img" aria-label={words.picture} />
        </div>
      </div>
      <p class="note">
        {words.note} {signalWords.gapsNote}
      </p>
      <ShotTimes shots={shots} />
    </section>
  );
}

function openFeed(
  onStreams: (streams: readonly HeldStream[]) => void,
  onState: (state: { isOpen: boolean; leftOut: number }) => void,
): LiveFeed {
  let told = '';
  return new LiveFeed({
    open() {
      const url = new URL('/api/live-signals', window.location.href);
      url.protocol = url.protocol === 'https:' ? 'wss:' : 'ws:';
      return new WebSocket(url) as SampleSocket;
    },
    nowS: () => performance.now() / 1000,
    onStreams,
    onState(state) {
      const text = JSON.stringify(state);
      if (text !== told) onState(state);
      told = text;
    },
    setTimer: (callback, delayMs) => window.setTimeout(callback, delayMs),
    clearTimer: (timer) => window.clearTimeout(timer),
  });
}

/** @returns an instant of the axis: the time of day, with its tenths where marks are closer than a second. */
function shownTick(timeS: number): string {
  const tenths = Math.round(10 * timeS) % 10;
  return tenths === 0 ? shownTime(timeS) : words.tenth(tenths);
}
