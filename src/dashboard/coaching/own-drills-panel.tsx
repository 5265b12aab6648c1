import type { WireDrill, WireDrills } from '../../server/wire/coaching-document.ts';
import { texts } from '../texts.ts';
import { DrillCard } from './drill-card.tsx';
import { type DrillWords, OwnDrillForm } from './own-drill-form.tsx';

interface OwnDrillsPanelProps {
  readonly drills: readonly WireDrill[];
  readonly faults: WireDrills['faults'];
  readonly isChanging: boolean;
  /** @param name of the drill that is changed; null for a new one. @returns whether it was kept. */
  readonly onKeep: (name: string | null, words: DrillWords) => Promise<boolean>;
  readonly onRetire: (name: string) => void;
}

/** Drills of the coach's own: each with its words, to be changed or taken out of use, and a form for another one. */
export function OwnDrillsPanel({ drills, faults, isChanging, onKeep, onRetire }: OwnDrillsPanelProps) {
  const words = texts.coaching.ownDrills;
  const own = drills.filter((drill) => drill.own);
  return (
    <section class="panel" aria-labelledby="own-drills-title">
      <h3 id="own-drills-title">{words.title}</h3>
      {/* The library has drills: without any, they have not been read. */}
      {own.length === 0 && drills.length > 0 && <p>{words.none}</p>}
      {own.map((drill) => (
        <article key={drill.name} data-own-drill={drill.name}>
          <DrillCard drill={drill} />
          <details class="own-drill">
            <summary>{words.change(drill.title)}</summary>
            <OwnDrillForm
              key={JSON.stringify(drill)}
              drill={drill}
              faults={faults}
              isChanging={isChanging}
              onKeep={(said) => onKeep(drill.name, said)}
            />
            <button type="button" class="small" disabled={isChanging} onClick={() => onRetire(drill.name)}>
              {words.retire}
            </button>
          </details>
        </article>
      ))}
      <details class="own-drill">
        <summary>{words.add}</summary>
        <OwnDrillForm drill={null} faults={faults} isChanging={isChanging} onKeep={(said) => onKeep(null, said)} />
      </details>
    </section>
  );
}
