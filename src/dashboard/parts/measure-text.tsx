import type { WireMeasured } from '../../server/wire/shot-document.ts';
import { type MeasureFormat, showValue } from '../measures.ts';
import { reasonText, texts } from '../texts.ts';

interface MeasureTextProps {
  readonly measured: WireMeasured;
  readonly format: MeasureFormat;
  /** Without the unit, where that stands above the column. */
  readonly bare?: boolean;
}

/** A measure in running text: `0.82 s ± 0.01`, or why it is missing. */
export function MeasureText({ measured, format, bare = false }: MeasureTextProps) {
  const shown = showValue(measured, format);
  if (shown === null) {
    return <span class="reason">{measured.value === null ? reasonText(measured.reason) : texts.missing}</span>;
  }
  const sides = format.sides ? texts.sides[format.sides] : null;
  const side = sides && shown.sign !== 0 ? ` ${shown.sign > 0 ? sides.positive : sides.negative}` : '';
  return (
    <span class="measure">
      <span class="measure-value">
        {bare && format.unit !== '°' ? shown.value : texts.withUnit(shown.value, format.unit)}
      </span>
      {side}{' '}
      <span class="measure-error">
        {shown.interval ? texts.interval(...shown.interval) : texts.plusMinus(shown.error)}
      </span>
    </span>
  );
}
