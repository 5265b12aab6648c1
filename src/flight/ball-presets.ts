/** What the flight of a ball depends on. */
export interface BallPreset {
  readonly size: 7 | 6 | 5;
  readonly massKg: number;
  readonly diameterM: number;
}

/**
 * Middle of the range that FIBA's equipment rules allow: size 7 circumference 750–770 mm and 580–620 g, size 6
 * 715–730 mm and 510–550 g, size 5 685–700 mm and 465–495 g. Makers aim at 29.5 in and 22 oz for size 7, hence its mass
 * of 0.62 kg.
 */
export const ballPresets: Readonly<Record<7 | 6 | 5, BallPreset>> = {
  7: { size: 7, massKg: 0.615, diameterM: 0.2415 },
  6: { size: 6, massKg: 0.53, diameterM: 0.23 },
  5: { size: 5, massKg: 0.48, diameterM: 0.2204 },
};

/** Density of air at 20 °C and 101 325 Pa, kg/m³ (ISO 2533 gives 1.225 at 15 °C; ideal-gas scaling). */
export const airDensityKgpm3 = 1.204;

/** Drag coefficient of a basketball at Reynolds numbers about 1e5, used by Tran & Silverberg 2008 (J Sports Sci 26:1147). */
export const dragCoefficient = 0.5;

export interface AeroPreset {
  /** Drag acceleration = dragPerM · |v| v, 1/m. */
  readonly dragPerM: number;
  /** Lift acceleration = lift · spin × v for a lift coefficient equal to the spin parameter R ω / v, dimensionless. */
  readonly lift: number;
}

/** @returns drag and lift acceleration factors of a ball in still air. */
export function aeroPreset(ball: BallPreset): AeroPreset {
  const radiusM = ball.diameterM / 2;
  const areaM2 = Math.PI * radiusM * radiusM;
  const perM = (airDensityKgpm3 * areaM2) / (2 * ball.massKg);
  return { dragPerM: perM * dragCoefficient, lift: perM * radiusM };
}
