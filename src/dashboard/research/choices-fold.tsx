import type { ComponentChildren } from 'preact';
import { useState } from 'preact/hooks';
import { researchTexts } from './texts.ts';

/** What is drawn, to be chosen: open where there is room, folded on a phone, where the picture itself would not be seen below it. */
export function ChoicesFold({ children }: { readonly children: ComponentChildren }) {
  const [startsOpen] = useState(() => window.matchMedia('(min-width: 45.01rem)').matches);
  return (
    <details class="signal-fold" open={startsOpen}>
      <summary>{researchTexts.signals.choices}</summary>
      <div class="signal-choices">{children}</div>
    </details>
  );
}
