import type { ShotDocument } from '../../server/wire/live-document.ts';
import { clockTime } from '../clock-time.ts';
import { type LiveState, shownShots } from '../live-state.ts';
import { MeasureText } from '../parts/measure-text.tsx';
import { WideTable } from '../parts/wide-table.tsx';
import { userFormat } from '../settings/current-settings.ts';
import { contactTexts, measureLabels, texts } from '../texts.ts';

const measures = ['pickupToReleaseS', 'backspinRps'] as const;

/** On a hub: the last shot of each court. Nothing where shots are of no court. */
export function CourtsPanel({ state }: { readonly state: LiveState }) {
  const latest = latestByCourt(shownShots(state));
  if (latest.length === 0) return null;
  return (
    <section class="panel" aria-labelledby="bench-courts">
      <h3 id="bench-courts">{texts.bench.courts}</h3>
      <WideTable label={texts.bench.courts}>
        <table class="stored stacks">
          <thead>
            <tr>
              <th scope="col">{texts.bench.court}</th>
              <th scope="col">{texts.columns.time}</th>
              {measures.map((name) => (
                <th key={name} scope="col">
                  {texts.labelWithUnit(measureLabels[name], userFormat(name).unit)}
                </th>
              ))}
              <th scope="col">{texts.columns.contact}</th>
            </tr>
          </thead>
          <tbody>
            {latest.map(({ court, shotId, at, shot }) => (
              <tr key={court} data-court={court} data-shot-id={shotId}>
                <th scope="row">{court}</th>
                <td data-label={texts.columns.time}>{clockTime(at)}</td>
                {measures.map((name) => (
                  <td key={name} data-label={texts.labelWithUnit(measureLabels[name], userFormat(name).unit)}>
                    <MeasureText measured={shot.measures[name]} format={userFormat(name)} bare />
                  </td>
                ))}
                <td data-label={texts.columns.contact}>{contactTexts[shot.contactKind]}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </WideTable>
    </section>
  );
}

/** @param shots newest first. @returns the newest of each court, courts by their names. */
function latestByCourt(shots: readonly ShotDocument[]): (ShotDocument & { readonly court: string })[] {
  const latest = new Map<string, ShotDocument & { readonly court: string }>();
  for (const shot of shots) {
    if (shot.court !== undefined && !latest.has(shot.court)) latest.set(shot.court, { ...shot, court: shot.court });
  }
  return [...latest.values()].sort((one, other) => one.court.localeCompare(other.court));
}
