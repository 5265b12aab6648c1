/** Units of a reader in the United States. Exact by definition: 1 inch is 0.0254 m, 1 foot 0.3048 m (international yard and pound agreement, 1959). */
const usUnits = {
  cm: { unit: 'in', factor: 1 / 2.54, decimals: 1 },
  m: { unit: 'ft', factor: 1 / 0.3048, decimals: 1 },
  'm/s': { unit: 'ft/s', factor: 1 / 0.3048, decimals: 1 },
} as const;

/** @returns how a unit is shown there, or null where it is the same. */
export function usUnitOf(unit: string): (typeof usUnits)[keyof typeof usUnits] | null {
  return unit in usUnits ? usUnits[unit as keyof typeof usUnits] : null;
}
