const formats = new Map<number, Intl.NumberFormat>();

/** @returns a number with so many decimals in the manner of the user's country, its minus as long as a figure. */
export function shownNumber(value: number, decimals: number): string {
  let format = formats.get(decimals);
  if (!format) {
    format = new Intl.NumberFormat(undefined, {
      minimumFractionDigits: decimals,
      maximumFractionDigits: decimals,
      // Of every country, but with the digits that stand as they are drawn on the court.
      numberingSystem: 'latn',
      useGrouping: false,
      // What rounds to nothing has no sign.
      signDisplay: 'negative',
    });
    formats.set(decimals, format);
  }
  return format.format(value).replace('-', '−');
}
