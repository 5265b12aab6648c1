import { useState } from 'preact/hooks';
import type { WirePlayerSet, WireTargets } from '../../server/wire/coaching-document.ts';
import type { ShotMeasureName } from '../../server/wire/shot-document.ts';
import { bareNumber, type MeasureFormat } from '../measures.ts';
import { WideTable } from '../parts/wide-table.tsx';
import { userFormat } from '../settings/current-settings.ts';
import { measureLabels, texts } from '../texts.ts';
import { BestSetsForm } from './best-sets-form.tsx';

type WireBand = WireTargets['bands'][number];

interface BandFormProps {
  readonly targets: WireTargets;
  readonly onSet: (measure: string, band: { readonly low: number | null; readonly high: number | null } | null) => void;
}

interface TargetsPanelProps extends BandFormProps {
  readonly sets: readonly WirePlayerSet[];
  readonly isChanging: boolean;
  readonly onBest: (setIds: readonly string[]) => void;
}

/** Between which numbers a measure of this player is left alone, where that comes from, and setting it by hand. */
export function TargetsPanel({ targets, onSet, sets, isChanging, onBest }: TargetsPanelProps) {
  const words = texts.coaching.targets;
  const told = targets.bands.filter(({ low, high }) => low !== null || high !== null);
  return (
    <details class="panel">
      <summary>{words.title}</summary>
      <WideTable label={words.title}>
        <table class="stored wraps" aria-label={words.title}>
          <thead>
            <tr>
              <th scope="col">{words.measure}</th>
              <th scope="col">{words.band}</th>
              <th scope="col">{words.from}</th>
            </tr>
          </thead>
          <tbody>
            {told.map((band) => (
              <tr key={band.measure} data-band={band.measure}>
                <th scope="row">{measureLabels[band.measure as ShotMeasureName]}</th>
                <td>{bandText(band)}</td>
                <td title={band.source}>
                  {words.origins[band.from]}
                  {band.from === 'coach' && (
                    <button type="button" class="small" onClick={() => onSet(band.measure, null)}>
                      {words.takeAway}
                    </button>
                  )}
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      </WideTable>
      <BandForm targets={targets} onSet={onSet} />
      <BestSetsForm sets={sets} best={targets.bestSetIds} isChanging={isChanging} onBest={onBest} />
    </details>
  );
}

function bandText({ measure, low, high }: WireBand): string {
  const words = texts.coaching.targets;
  const format = userFormat(measure as ShotMeasureName);
  const show = (value: number): string => texts.withUnit(bareNumber(value, format), format.unit);
  if (low === null) return words.upTo(show(high ?? 0));
  if (high === null) return words.fromOn(show(low));
  return words.between(bareNumber(low, format), show(high));
}

function BandForm({ targets, onSet }: BandFormProps) {
  const words = texts.coaching.targets;
  const [measure, setMeasure] = useState(targets.bands[0]?.measure ?? 'pickupToReleaseS');
  const [trouble, setTrouble] = useState<string | null>(null);
  const format = userFormat(measure as ShotMeasureName);
  const keep = (event: SubmitEvent): void => {
    event.preventDefault();
    const form = new FormData(event.currentTarget as HTMLFormElement);
    const [low, high] = [endOf(form, 'low', format), endOf(form, 'high', format)];
    const isOdd = (low === null && high === null) || (low !== null && high !== null && !(low < high));
    setTrouble(isOdd ? words.odd : null);
    if (!isOdd) onSet(measure, { low, high });
  };
  return (
    <form class="inline-form" onSubmit={keep}>
      <label>
        {words.measure}
        <select name="measure" value={measure} onChange={(event) => setMeasure(event.currentTarget.value)}>
          {targets.bands.map((band) => (
            <option key={band.measure} value={band.measure}>
              {measureLabels[band.measure as ShotMeasureName]}
            </option>
          ))}
        </select>
      </label>
      {(['low', 'high'] as const).map((end) => (
        <label key={end}>
          {texts.labelWithUnit(words.ends[end], format.unit)}
          <input name={end} type="number" step="any" />
        </label>
      ))}
      <button type="submit">{words.keep}</button>
      <p role="alert" class="stale">
        {trouble ?? ''}
      </p>
    </form>
  );
}

/** @returns the end in the unit of the measure, null where nothing was written. */
function endOf(form: FormData, name: string, { scale }: MeasureFormat): number | null {
  const text = String(form.get(name) ?? '').trim();
  return text === '' ? null : Number(text) / scale;
}
