/** @returns a number with so many decimals, a true minus and no minus before nothing. */
export function plainNumber(value: number, decimals: number): string {
  return value
    .toFixed(decimals)
    .replace(/^-(0(\.0*)?)$/, '$1')
    .replace('-', '−');
}
