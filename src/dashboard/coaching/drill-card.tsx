import type { WireDrill } from '../../server/wire/coaching-document.ts';
import type { ShotMeasureName } from '../../server/wire/shot-document.ts';
import { bareNumber } from '../measures.ts';
import { userFormat } from '../settings/current-settings.ts';
import { measureLabels, texts } from '../texts.ts';
import { DrillPicture } from './drill-picture.tsx';

interface DrillCardProps {
  readonly drill: WireDrill;
  /** Without it the drill is only told. */
  readonly onPrescribe?: () => void;
}

/** A drill as a coach reads it out. */
export function DrillCard({ drill, onPrescribe }: DrillCardProps) {
  const { title, purpose, setUp, steps, dose, progressions, cautions, fromAge, moves, picture } = drill;
  const words = texts.coaching;
  const measure = moves.measure as ShotMeasureName;
  const format = userFormat(measure);
  const by = texts.withUnit(bareNumber(moves.by, format), format.unit);
  return (
    <details class="drill">
      <summary>{title}</summary>
      <div class="drill-body">
        {picture && <DrillPicture picture={picture} />}
        <div>
          <p>{purpose}</p>
          <p class="note">{setUp}</p>
          <ol aria-label={words.steps}>
            {steps.map((step) => (
              <li key={step}>{step}</li>
            ))}
          </ol>
          <p class="note">
            {words.dose(dose.sets, dose.shotsASet, dose.daysAWeek)} {words.afterwards(progressions.join('; '))}{' '}
            {words.fromAge(fromAge)} {words.moves(measureLabels[measure], words.sides[moves.side], by)}
          </p>
          <p class="note">{cautions.join(' ')}</p>
          {onPrescribe && (
            <button type="button" onClick={onPrescribe}>
              {words.prescribe}
            </button>
          )}
        </div>
      </div>
    </details>
  );
}
