import type { ReadonlySignal, Signal } from '@preact/signals';
import type { RefObject } from 'preact';
import { useLayoutEffect, useMemo, useRef, useState } from 'preact/hooks';
import type { SignalGroup, WireSignalStream } from '../../server/wire/signal-document.ts';
import { texts } from '../texts.ts';
import { PhaseHandles } from './phase-handles.tsx';
import type { PhaseName, ViewedShot } from './shot-phases.ts';
import { SignalChart } from './signal-chart.ts';
import type { DrawnPart } from './signal-data.ts';
import { SignalStage } from './signal-stage.ts';
import { StageLines, type ViewedMark } from './stage-lines.tsx';
import { useStagePointers } from './stage-pointers.ts';
import { keyOf, limitText, nameOf } from './stream-names.ts';
import { researchTexts } from './texts.ts';
import { axisTicks, panned, share, shownSessionTime, type ViewRange, zoomed } from './view-range.ts';
import { watchLook } from './watch-look.ts';
import { windowPath } from './window-path.ts';

const words = researchTexts.signals;

export interface ViewerControl {
  show(view: ViewRange): void;
}

interface SignalViewerProps {
  readonly sessionId: string;
  /** Those that are shown, of all that there are. */
  readonly streams: readonly WireSignalStream[];
  readonly allStreams: readonly WireSignalStream[];
  readonly groups: readonly SignalGroup[];
  /** Which of x, y, z and the magnitude are shown. */
  readonly lines: readonly boolean[];
  readonly shots: readonly ViewedShot[];
  readonly chosen: ViewedShot | null;
  readonly marks: readonly ViewedMark[];
  readonly control: RefObject<ViewerControl | null>;
  /** What is seen; told some times a second while it moves. */
  readonly view: Signal<ViewRange>;
  readonly onStep: (by: number) => void;
  readonly onChoose: (shotId: string) => void;
  readonly onAddMark: () => void;
  readonly onSet: (shot: ViewedShot, phase: PhaseName, timeS: number, resolutionS: number) => Promise<boolean>;
  readonly onTrouble: (message: string | null) => void;
}

interface ChartRow {
  readonly key: string;
  readonly stream: WireSignalStream;
  readonly group: SignalGroup;
}

/** The lines of the sensors over time, to be moved and looked into, with what was found in them. */
export function SignalViewer(props: SignalViewerProps) {
  const { sessionId, streams, allStreams, groups, lines, shots, chosen, marks, control } = props;
  const whole = useMemo(() => wholeOf(allStreams), [allStreams]);
  const viewport = useRef<HTMLDivElement>(null);
  const mover = useRef<HTMLDivElement>(null);
  const stage = useRef<SignalStage | null>(null);
  const charts = useRef(new Map<string, SignalChart>());
  const strips = useRef(new Map<string, HTMLElement>());
  const chartRefs = useRef(new Map<string, ElementTaker>());
  const stripRefs = useRef(new Map<string, ElementTaker>());
  const wanted = useRef<readonly number[]>([]);
  const [drawn, setDrawn] = useState<ViewRange>(whole);
  const [parts, setParts] = useState<readonly DrawnPart[]>([]);
  const [limits, setLimits] = useState<ReadonlyMap<string, number>>(new Map());
  const [isRunning, setIsRunning] = useState(false);
  const rows: readonly ChartRow[] = streams.flatMap((stream) =>
    groups.flatMap((group) =>
      group === 'gyro' && !stream.hasGyro ? [] : [{ key: `${group} ${keyOf(stream)}`, stream, group }],
    ),
  );
  const rowPx = rows.length <= 2 ? 176 : rows.length <= 4 ? 128 : rows.length <= 8 ? 88 : 68;
  wanted.current = streams.length === allStreams.length ? [] : streams.map((stream) => allStreams.indexOf(stream));

  // Before the charts are handed to it, below.
  useLayoutEffect(() => {
    const [element, moving] = [viewport.current, mover.current];
    if (!element || !moving) return;
    const opened = new SignalStage(element, moving, whole, {
      whole,
      fetchWindow: async (range, columns, of) => {
        const response = await fetch(windowPath(sessionId, range, columns, of, wanted.current));
        if (response.ok) return response.arrayBuffer();
        const { message } = (await response.json().catch(() => ({}))) as { readonly message?: string };
        throw new Error(message ?? texts.unreachable);
      },
      onDrawn: (range, found) => {
        setDrawn(range);
        setParts(found);
      },
      onView: (next) => {
        props.view.value = next;
      },
      onTrouble: (message) => props.onTrouble(message === null ? null : texts.failed(message)),
    });
    stage.current = opened;
    control.current = {
      show(next) {
        setIsRunning(false);
        opened.run(0);
        opened.setView(next);
      },
    };
    const unwatch = watchLook(element, () => opened.redraw());
    return () => {
      unwatch();
      opened.close();
    };
  }, [sessionId, whole]);

  const rowKeys = rows.map(({ key }) => key).join('\n');
  useLayoutEffect(() => {
    stage.current?.setCharts(
      rows.flatMap(({ key, stream: { sensorId, streamIndex }, group }) => {
        const chart = charts.current.get(key);
        return chart ? [{ chart, sensorId, streamIndex, group, heightPx: rowPx }] : [];
      }),
      lines,
    );
  }, [rowKeys, rowPx, lines, whole]);
  useLayoutEffect(() => {
    for (const element of strips.current.values()) stage.current?.setStrip(element, drawn);
  }, [drawn, whole]);

  // The same function at each rendering: for another one the element is taken away from the old and given to the new, and with it the chart.
  const strip = keptBy(stripRefs.current, (name) => (element) => {
    const before = strips.current.get(name);
    if (before) stage.current?.removeStrip(before);
    if (element) strips.current.set(name, element);
    else strips.current.delete(name);
  });
  const place = keptBy(chartRefs.current, (key) => (element) => {
    if (element) {
      charts.current.set(key, new SignalChart(element, (limit) => setLimits((all) => new Map(all).set(key, limit))));
      return;
    }
    charts.current.get(key)?.destroy();
    charts.current.delete(key);
  });
  const move = (next: ViewRange): void => {
    setIsRunning(false);
    stage.current?.run(0);
    stage.current?.setView(next);
  };
  const now = (): ViewRange => stage.current?.view ?? props.view.peek();
  const run = (): void => {
    stage.current?.run(isRunning ? 0 : 1);
    setIsRunning(!isRunning);
  };
  const pointers = useStagePointers(viewport, now, move, whole);
  const onKeyDown = (event: KeyboardEvent): void => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const action = stageKeys[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!action) return;
    event.preventDefault();
    if (action === 'whole') move(whole);
    else if (action === 'run') run();
    else if (action === 'mark') props.onAddMark();
    else if (action === 'next' || action === 'previous') props.onStep(action === 'next' ? 1 : -1);
    else if (typeof action === 'number') move(panned(now(), action, whole));
    else move(zoomed(now(), action.zoom, 0.5, whole));
  };
  return (
    <div class="signal-viewer">
      <div class="stage-tools">
        <button type="button" disabled={shots.length === 0} onClick={() => props.onStep(-1)}>
          {words.previous}
        </button>
        <button type="button" disabled={shots.length === 0} onClick={() => props.onStep(1)}>
          {words.next}
        </button>
        <button type="button" onClick={() => move(zoomed(now(), 0.5, 0.5, whole))}>
          {words.closer}
        </button>
        <button type="button" onClick={() => move(zoomed(now(), 2, 0.5, whole))}>
          {words.wider}
        </button>
        <button type="button" onClick={() => move(whole)}>
          {words.whole}
        </button>
        <button type="button" aria-pressed={isRunning} onClick={run}>
          {isRunning ? words.stop : words.run}
        </button>
        <p class="stage-where">
          <strong>{chosen === null ? words.noneChosen : words.shot(chosen.number, shots.at(-1)?.number ?? 0)}</strong>{' '}
          <Where view={props.view} />
        </p>
      </div>
      {/* biome-ignore lint/a11y/noNoninteractiveTabindex: its keys need its focus. */}
      <div class="stage" tabIndex={0} role="application" aria-label={words.stage} onKeyDown={onKeyDown}>
        <div class="stage-viewport" ref={viewport} {...pointers}>
          <div class="stage-band" />
          {rows.map(({ key, stream, group }) => (
            <div key={key} class="chart-row" style={{ height: `${rowPx}px` }} data-chart={key}>
              <p class="chart-label">
                {words.chart(nameOf(stream), words.groups[group])}{' '}
                <span class="note">{words.limit(limitText(limits.get(key) ?? 1), words.units[group])}</span>
              </p>
            </div>
          ))}
          <div class="stage-axis" />
          <div class="stage-mover" ref={mover}>
            {rows.map(({ key, stream, group }, row) => (
              <div
                key={key}
                class="chart-strip"
                style={{ top: `calc(var(--band) + ${row * (rowPx + 1)}px)` }}
                ref={place(key)}
                role="img"
                aria-label={words.chart(nameOf(stream), words.groups[group])}
              />
            ))}
            <div class="strip-layer axis-layer" ref={strip('axis')}>
              {axisTicks(drawn, 22).map((tickS) => (
                <span key={tickS} class="tick" style={{ left: share(tickS, drawn) }}>
                  {shownSessionTime(tickS, drawn.spanS / 2.75)}
                </span>
              ))}
            </div>
            <div class="strip-layer lines-layer" ref={strip('lines')} aria-hidden="true">
              <StageLines
                drawn={drawn}
                shots={shots}
                chosen={chosen}
                marks={marks}
                gaps={rows.flatMap(({ stream: { sensorId, streamIndex } }, row) => {
                  const found = parts.find(
                    ({ part }) => part.sensorId === sensorId && part.streamIndex === streamIndex,
                  );
                  return (found?.part.gaps ?? []).map(([fromS, untilS]) => ({
                    fromS,
                    untilS,
                    topPx: row * (rowPx + 1),
                  }));
                })}
              />
            </div>
            <div class="strip-layer" ref={strip('band')}>
              {chosen !== null && (
                <PhaseHandles
                  key={chosen.id}
                  shot={chosen}
                  drawn={drawn}
                  viewport={viewport}
                  now={now}
                  onSet={props.onSet}
                />
              )}
            </div>
          </div>
        </div>
      </div>
      <p class="note">
        {words.seconds}. {words.gapsNote} {words.keys}
      </p>
    </div>
  );
}

type ElementTaker = (element: HTMLElement | null) => void;

/** @returns what takes the element of a name, made once for each. */
function keptBy(kept: Map<string, ElementTaker>, make: (name: string) => ElementTaker): (name: string) => ElementTaker {
  return (name) => {
    const known = kept.get(name) ?? make(name);
    kept.set(name, known);
    return known;
  };
}

/** From when until when it is seen. */
function Where({ view }: { readonly view: ReadonlySignal<ViewRange> }) {
  const { fromS, spanS } = view.value;
  return <span>{words.view(shownSessionTime(fromS, spanS), shownSessionTime(fromS + spanS, spanS))}</span>;
}

type StageAction = number | { readonly zoom: number } | 'whole' | 'run' | 'next' | 'previous' | 'mark';

const stageKeys: Readonly<Record<string, StageAction>> = {
  ArrowLeft: -0.2,
  ArrowRight: 0.2,
  PageUp: -0.9,
  PageDown: 0.9,
  '+': { zoom: 0.6 },
  '=': { zoom: 0.6 },
  '-': { zoom: 1 / 0.6 },
  Home: 'whole',
  ' ': 'run',
  n: 'next',
  p: 'previous',
  a: 'mark',
};

function wholeOf(streams: readonly WireSignalStream[]): ViewRange {
  const fromS = Math.min(...streams.map((stream) => stream.fromS));
  const untilS = Math.max(...streams.map((stream) => stream.untilS));
  return { fromS, spanS: Math.max(0.05, untilS - fromS) };
}
