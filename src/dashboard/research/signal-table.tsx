import type { ReadonlySignal } from '@preact/signals';
import { useEffect, useState } from 'preact/hooks';
import type { WireSignalStream } from '../../server/wire/signal-document.ts';
import { WideTable } from '../parts/wide-table.tsx';
import { type DrawnPart, decodeWindow } from './signal-data.ts';
import { keyOf, nameOf } from './stream-names.ts';
import { researchTexts } from './texts.ts';
import type { ViewRange } from './view-range.ts';
import { windowPath } from './window-path.ts';

const words = researchTexts.signals;
const rows = 25;
const settleMs = 400;

interface SignalTableProps {
  readonly sessionId: string;
  readonly streams: readonly WireSignalStream[];
  readonly view: ReadonlySignal<ViewRange>;
}

/** What the lines show, as numbers: single samples where they are few. */
export function SignalTable({ sessionId, streams, view }: SignalTableProps) {
  const [isOpen, setIsOpen] = useState(false);
  const [at, setAt] = useState(0);
  const [drawn, setDrawn] = useState<DrawnPart | null>(null);
  const stream = streams[at];
  const range = isOpen ? view.value : view.peek();
  useEffect(() => {
    if (!isOpen || !stream) return;
    let isOver = false;
    const timer = setTimeout(async () => {
      const response = await fetch(
        windowPath(sessionId, range, rows, stream.hasGyro ? ['accel', 'gyro'] : ['accel'], [at]),
      );
      if (!response.ok || isOver) return;
      const { parts } = decodeWindow(await response.arrayBuffer());
      if (!isOver) setDrawn(parts[0] ?? null);
    }, settleMs);
    return () => {
      isOver = true;
      clearTimeout(timer);
    };
  }, [isOpen, at, range.fromS, range.spanS]);
  return (
    <details class="signal-table panel" onToggle={(event) => setIsOpen(event.currentTarget.open)}>
      <summary>{words.table}</summary>
      <div class="inline-form">
        <label>
          {words.tableSensor}
          <select value={at} onChange={(event) => setAt(Number(event.currentTarget.value))}>
            {streams.map((each, index) => (
              <option key={keyOf(each)} value={index}>
                {nameOf(each)}
              </option>
            ))}
          </select>
        </label>
      </div>
      {drawn !== null && stream && <Numbers drawn={drawn} stream={stream} />}
    </details>
  );
}

function Numbers({
  drawn: { part, x, channels },
  stream,
}: {
  readonly drawn: DrawnPart;
  readonly stream: WireSignalStream;
}) {
  const isColumns = part.kind === 'columns';
  const groups = stream.hasGyro ? (['accel', 'gyro'] as const) : (['accel'] as const);
  const count = isColumns ? x.length / 2 : x.length;
  return (
    <>
      <p class="note">{isColumns ? words.tableColumns : words.tableSamples}</p>
      <WideTable label={words.tableOf(nameOf(stream))}>
        <table class="stored">
          <thead>
            <tr>
              <th scope="col">{words.tableTime}</th>
              {groups.flatMap((group) =>
                words.channels.map((channel) => (
                  <th key={`${group} ${channel}`} scope="col">
                    {words.groups[group]} {channel}, {words.units[group]}
                  </th>
                )),
              )}
            </tr>
          </thead>
          <tbody>
            {Array.from({ length: count }, (_, row) => {
              const at = isColumns ? 2 * row : row;
              const timeS = isColumns ? ((x[at] ?? 0) + (x[at + 1] ?? 0)) / 2 : (x[at] ?? 0);
              return (
                <tr key={row}>
                  <th scope="row">{timeS.toFixed(4)}</th>
                  {channels.map((values, channel) => (
                    <td key={channel}>{isColumns ? rangeText(values[at], values[at + 1]) : numberText(values[at])}</td>
                  ))}
                </tr>
              );
            })}
          </tbody>
        </table>
      </WideTable>
    </>
  );
}

function numberText(value: number | null | undefined): string {
  return value === null || value === undefined ? words.tableEmpty : value.toFixed(2).replace('-', '−');
}

function rangeText(least: number | null | undefined, greatest: number | null | undefined): string {
  if (least === null || least === undefined) return words.tableEmpty;
  return words.leastToGreatest(numberText(least), numberText(greatest));
}
