import type { ComponentChildren } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';

interface WideTableProps {
  /** What the table is, for ears. */
  readonly label: string;
  readonly children: ComponentChildren;
}

/** A table that scrolls sideways by itself where it is wider than the page, with keys too; where it fits, keys pass it by. */
export function WideTable({ label, children }: WideTableProps) {
  const box = useRef<HTMLElement>(null);
  const [isWider, setIsWider] = useState(false);
  useEffect(() => {
    const { current: element } = box;
    if (element === null) return;
    const watch = new ResizeObserver(() => setIsWider(element.scrollWidth > element.clientWidth + 1));
    for (const one of [element, ...element.children]) watch.observe(one);
    return () => watch.disconnect();
  }, []);
  return (
    <section class="wide-table" ref={box} {...(isWider && { 'aria-label': label, tabIndex: 0 })}>
      {children}
    </section>
  );
}
