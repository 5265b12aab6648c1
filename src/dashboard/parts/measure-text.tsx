import type { WireMeasured } from '../../server/wire/shot-document.ts';
import { type MeasureFormat, type ShownNumber, showValue } from '../measures.ts';
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
  return (
    <span class="measure">
      <span class="measure-value">
        {bare && format.unit !== '°' ? shown.value : texts.withUnit(shown.value, format.unit)}
      </span>
      {sideText(shown, format)}{' '}
      <span class="measure-error">
        {shown.interval ? texts.inBrackets(intervalText(shown.interval, format)) : texts.plusMinus(shown.error)}
      </span>
    </span>
  );
}

/** @returns the ends of an interval, each with its side where the sign means one. */
export function intervalText([low, high]: readonly [ShownNumber, ShownNumber], format: MeasureFormat): string {
  return texts.interval(withSide(low, format), withSide(high, format));
}

/** @returns a number with the side that its sign means. */
export function withSide(number: ShownNumber, format: MeasureFormat): string {
  return number.value + sideText(number, format);
}

function sideText({ sign }: ShownNumber, { sides }: MeasureFormat): string {
  if (!sides || sign === 0) return '';
  return ` ${sign > 0 ? texts.sides[sides].positive : texts.sides[sides].negative}`;
}
