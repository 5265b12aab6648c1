import { shownTime } from '../../clock-time.ts';
import { WideTable } from '../../parts/wide-table.tsx';
import { phaseNames } from '../shot-phases.ts';
import { researchTexts } from '../texts.ts';
import type { LiveShot } from './live-marks.ts';

const words = researchTexts.live;
const shownShots = 8;

/** The times of the last shots as numbers, the early ones as they come. */
export function ShotTimes({ shots }: { readonly shots: readonly LiveShot[] }) {
  if (shots.length === 0) return <p class="note">{words.noShots}</p>;
  return (
    <section class="panel" aria-labelledby="live-shots-title">
      <h3 id="live-shots-title">{words.shots}</h3>
      <WideTable label={words.shots}>
        <table class="stored stacks">
          <thead>
            <tr>
              {phaseNames.map((phase) => (
                <th key={phase} scope="col">
                  {researchTexts.signals.phases[phase]}
                </th>
              ))}
              <th scope="col">{words.stage}</th>
            </tr>
          </thead>
          <tbody>
            {shots.slice(0, shownShots).map(({ shotId, isFinal, phases }) => (
              <tr key={shotId} data-shot={shotId}>
                {phases.map(({ phase, timeS, errorS }) => (
                  <td key={phase} data-label={researchTexts.signals.phases[phase]}>
                    {timeS === null ? researchTexts.signals.phaseMissing : timeText(timeS, errorS)}
                  </td>
                ))}
                <td data-label={words.stage}>{isFinal ? words.final : words.early}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </WideTable>
    </section>
  );
}

/** Time of day in thousandths, with one standard error. */
function timeText(timeS: number, errorS: number | null): string {
  const whole = Math.floor(timeS);
  const thousandths = Math.min(999, Math.floor((timeS - whole) * 1000));
  const text = `${shownTime(whole)}.${String(thousandths).padStart(3, '0')}`;
  return errorS === null
    ? words.errorUnknown(text)
    : words.timeWithError(text, (1000 * errorS).toFixed(errorS < 0.01 ? 1 : 0));
}
