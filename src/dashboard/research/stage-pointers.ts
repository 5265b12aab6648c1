import type { RefObject } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import { type ViewRange, withinWhole, zoomed } from './view-range.ts';

/** Moves and zooms a view by mouse, wheel and fingers. @returns what listens to the pointers over the stage. */
export function useStagePointers(
  viewport: RefObject<HTMLDivElement | null>,
  now: () => ViewRange,
  move: (view: ViewRange) => void,
  whole: ViewRange,
) {
  const held = useRef(new Map<number, number>());
  const latest = useRef({ now, move, whole });
  latest.current = { now, move, whole };
  useEffect(() => {
    const element = viewport.current;
    // Not by the page's own way of listening, which may not stop the page from scrolling.
    const onWheel = (event: WheelEvent): void => {
      const { now: view, move: go, whole: all } = latest.current;
      const isMeant = event.ctrlKey || element?.closest('.stage')?.contains(document.activeElement);
      const isSideways = Math.abs(event.deltaX) > Math.abs(event.deltaY);
      if (!element || !(isMeant || isSideways)) return;
      event.preventDefault();
      const { left, width } = element.getBoundingClientRect();
      const before = view();
      if (isSideways) go(withinWhole({ ...before, fromS: before.fromS + (event.deltaX / width) * before.spanS }, all));
      else go(zoomed(before, Math.exp(event.deltaY / 400), (event.clientX - left) / width, all));
    };
    element?.addEventListener('wheel', onWheel, { passive: false });
    return () => element?.removeEventListener('wheel', onWheel);
  }, []);
  const end = (event: PointerEvent): void => {
    held.current.delete(event.pointerId);
  };
  return {
    onPointerDown(event: PointerEvent) {
      if (event.button !== 0) return;
      held.current.set(event.pointerId, event.clientX);
      viewport.current?.setPointerCapture(event.pointerId);
      viewport.current?.closest<HTMLElement>('.stage')?.focus({ preventScroll: true });
    },
    onPointerMove(event: PointerEvent) {
      const element = viewport.current;
      const before = held.current.get(event.pointerId);
      if (before === undefined || !element) return;
      const { left, width } = element.getBoundingClientRect();
      const view = now();
      const other = [...held.current].find(([id]) => id !== event.pointerId)?.[1];
      held.current.set(event.pointerId, event.clientX);
      if (other === undefined) {
        move(withinWhole({ ...view, fromS: view.fromS - ((event.clientX - before) / width) * view.spanS }, whole));
        return;
      }
      // Two fingers: what was under each stays under it.
      const [apart, wasApart] = [event.clientX - other, before - other];
      if (Math.abs(apart) < 12 || Math.abs(wasApart) < 12) return;
      move(zoomed(view, Math.abs(wasApart / apart), (other - left) / width, whole));
    },
    onPointerUp: end,
    onPointerCancel: end,
  };
}
