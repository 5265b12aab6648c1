import type { ComponentChildren } from 'preact';

interface WideTableProps {
  /** What the table is, for ears. */
  readonly label: string;
  readonly children: ComponentChildren;
}

/** A table that scrolls sideways by itself where it is wider than the page, with keys too. */
export function WideTable({ label, children }: WideTableProps) {
  return (
    // biome-ignore lint/a11y/noNoninteractiveTabindex: what scrolls sideways has to be reached by keys.
    <section class="wide-table" aria-label={label} tabIndex={0}>
      {children}
    </section>
  );
}
