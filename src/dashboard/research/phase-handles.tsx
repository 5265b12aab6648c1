import type { RefObject } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import { shownShift } from './phase-panel.tsx';
import { type PhaseName, phaseNames, placeOf, type ShotPhase, toRecording, type ViewedShot } from './shot-phases.ts';
import { researchTexts } from './texts.ts';
import { share, type ViewRange } from './view-range.ts';

const words = researchTexts.signals;
/** Keys that follow each other within this are one change. */
const settleMs = 500;

interface PhaseHandlesProps {
  readonly shot: ViewedShot;
  readonly drawn: ViewRange;
  readonly viewport: RefObject<HTMLDivElement | null>;
  readonly now: () => ViewRange;
  readonly onSet: (shot: ViewedShot, phase: PhaseName, timeS: number, resolutionS: number) => Promise<boolean>;
}

/** A flag on each time of the chosen shot, to be dragged or moved by keys. */
export function PhaseHandles(props: PhaseHandlesProps) {
  return (
    <>
      {props.shot.phases.map((phase) => (
        <PhaseHandle key={phase.phase} {...props} phase={phase} />
      ))}
    </>
  );
}

function PhaseHandle({
  shot,
  phase: known,
  drawn,
  viewport,
  now,
  onSet,
}: PhaseHandlesProps & { readonly phase: ShotPhase }) {
  const { phase, automaticS } = known;
  const sampleS = 1 / shot.stream.rateHz;
  const [moved, setMoved] = useState<number | null>(null);
  const latest = useRef<number | null>(null);
  const timer = useRef<ReturnType<typeof setTimeout> | null>(null);
  const isDragging = useRef(false);
  const settled = placeOf(known);
  useEffect(() => () => clearTimeout(timer.current ?? undefined), []);
  const timeS = moved ?? settled;
  if (timeS === null) return null;

  const preview = (next: number | null): void => {
    latest.current = next;
    setMoved(next);
  };
  const commit = async (): Promise<void> => {
    if (timer.current) clearTimeout(timer.current);
    timer.current = null;
    const next = latest.current;
    if (next === null) return;
    if (settled === null || Math.abs(next - settled) > 1e-7)
      await onSet(shot, phase, toRecording(shot.stream, next), sampleS);
    // What was refused goes back, what was taken comes with the shots. What was moved on meanwhile has a turn of its own.
    if (latest.current === next) preview(null);
  };
  /** On the grid of the samples, counted from where the analysis has it. */
  const onGrid = (near: number): number => {
    const base = automaticS ?? settled ?? near;
    return base + Math.round((near - base) / sampleS) * sampleS;
  };
  const onPointerMove = (event: PointerEvent): void => {
    const element = viewport.current;
    if (!isDragging.current || !element) return;
    const { left, width } = element.getBoundingClientRect();
    const view = now();
    preview(onGrid(view.fromS + ((event.clientX - left) / width) * view.spanS));
  };
  const onKeyDown = (event: KeyboardEvent): void => {
    const by = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (by !== undefined) {
      preview((latest.current ?? timeS) + by * (event.shiftKey ? 10 : 1) * sampleS);
      if (timer.current) clearTimeout(timer.current);
      timer.current = setTimeout(() => void commit(), settleMs);
    } else if (event.key === 'Enter') void commit();
    else if (event.key === 'Escape') {
      if (timer.current) clearTimeout(timer.current);
      preview(null);
    } else return;
    event.preventDefault();
    event.stopPropagation();
  };
  const end = (event: PointerEvent): void => {
    if (!isDragging.current) return;
    isDragging.current = false;
    event.stopPropagation();
    void commit();
  };
  const name = words.phases[phase];
  return (
    <span
      class={`handle line-${phase}`}
      style={{ left: share(timeS, drawn), top: `${phaseNames.indexOf(phase) * 1.5}rem` }}
      data-moved={moved !== null || known.byHand !== null}
      role="slider"
      tabIndex={0}
      aria-label={words.handle(name)}
      aria-valuemin={Number((shot.fromS - 5).toFixed(4))}
      aria-valuemax={Number((shot.untilS + 5).toFixed(4))}
      aria-valuenow={Number(timeS.toFixed(4))}
      aria-valuetext={words.handleValue(
        `${timeS.toFixed(4)} s`,
        automaticS === null ? null : shownShift(timeS - automaticS),
      )}
      onKeyDown={onKeyDown}
      onPointerDown={(event) => {
        if (event.button !== 0) return;
        event.stopPropagation();
        isDragging.current = true;
        event.currentTarget.setPointerCapture(event.pointerId);
        event.currentTarget.focus({ preventScroll: true });
      }}
      onPointerMove={onPointerMove}
      onPointerUp={end}
      onPointerCancel={end}
      onBlur={() => void commit()}
    >
      {name}
    </span>
  );
}
