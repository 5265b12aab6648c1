import type { WireDrill, WireFinding } from '../../server/wire/coaching-document.ts';
import { texts } from '../texts.ts';
import { DrillCard } from './drill-card.tsx';

interface FindingCardProps {
  readonly finding: WireFinding;
  readonly drills: readonly WireDrill[];
  readonly onPrescribe: (drill: WireDrill) => void;
}

/** One fault as the rules see it: what was seen, how sure that is, what else it may be, and what could be done. */
export function FindingCard({ finding, drills, onPrescribe }: FindingCardProps) {
  const { name, state, title, confidence, saw, seenBy, notSeenBy, otherExplanations } = finding;
  const words = texts.coaching;
  const suited = finding.drills.flatMap((drill) => drills.filter((one) => one.name === drill));
  return (
    <article class="finding" data-fault={name} data-state={state}>
      <h4>{title}</h4>
      <p>{confidence}</p>
      {saw.length > 0 && (
        <ul aria-label={words.sawTitle}>
          {saw.map((line) => (
            <li key={line}>{line}</li>
          ))}
        </ul>
      )}
      <details>
        <summary>{words.seen}</summary>
        <p class="note">{[...seenBy, ...notSeenBy].join(' ')}</p>
        <p class="note">{words.other(otherExplanations.join('; '))}</p>
      </details>
      {state === 'named' && suited.length > 0 && (
        <>
          <h5>{words.drills}</h5>
          {suited.map((drill) => (
            <DrillCard key={drill.name} drill={drill} onPrescribe={() => onPrescribe(drill)} />
          ))}
        </>
      )}
    </article>
  );
}
