import type { SensorCalibration } from '../../sessions/sensor-calibrations.ts';
import type { CalibrationGuide, CalibrationResult, GuideEvent } from '../../signal/calibration-guide.ts';

const degrees = 180 / Math.PI;

/** @returns what to do in a step. */
export function stepText(step: CalibrationGuide['step'], turns: number): string {
  switch (step) {
    case 'sides':
      return 'Six sides: lay it down so that another side points up each time, about upright, and leave it still for two seconds.';
    case 'checks':
      return 'Two checks: lay it slanted, between its sides, two different ways, and leave it still.';
    case 'turns':
      return (
        `Turns: lay it on a flat table against a mark and leave it still. Turn it flat by ${turns === 1 ? 'exactly one turn' : `exactly ${turns} turns`}, ` +
        'back to the mark, within half a minute, and leave it still; then the same the other way round. Then with two other sides up, about a quarter turn apart.'
      );
    case 'done':
      return 'Done.';
  }
}

/** @returns what happened, or null where there is nothing to say. */
export function guideText(event: GuideEvent): string | null {
  switch (event.kind) {
    case 'position':
      return event.missing.length === 0
        ? `${event.side} up: taken; that was the last`
        : `${event.side} up: taken; still to come: ${event.missing.join(' ')}`;
    case 'accel-fitted':
      return null;
    case 'check-position':
      return `check: |a| is ${signed(event.errorMps2, 3)} m/s² off 1 g; ${event.left === 0 ? 'that was the last' : `${event.left} to come`}`;
    case 'turn':
      return `turn with ${event.side} up: read as ${event.readDegrees.toFixed(1)}°; ${event.left} to come`;
    case 'turn-refused':
      return `not taken (read as ${event.readDegrees.toFixed(0)}°): ${event.why}`;
    case 'refused':
      return `not taken: ${event.why}`;
    case 'done':
      return null;
  }
}

/** @returns the result with its residuals, for a person. */
export function calibrationText(calibration: SensorCalibration, { accel }: CalibrationResult): string {
  const { accelBiasMps2, accelBiasStandardErrorMps2, accelScale, accelScaleStandardError, gyro } = calibration;
  const pairs = (values: readonly number[], errors: readonly number[], factor: number, digits: number) =>
    values
      .map((value, axis) => `${(value * factor).toFixed(digits)} ± ${(errors[axis]! * factor).toFixed(digits)}`)
      .join(', ');
  const list = (values: readonly number[], factor: number, digits: number) =>
    values.map((value) => signed(value * factor, digits)).join(' ');
  const lines = [
    `Sensor ${calibration.sensorId}, ${new Date(1000 * calibration.madeAtS).toISOString()}`,
    `  accelerometer bias, m/s²     ${pairs(accelBiasMps2, accelBiasStandardErrorMps2, 1, 4)}`,
    `  accelerometer scale          ${pairs(accelScale, accelScaleStandardError, 1, 5)}`,
    `  residuals of the six, m/s²   ${list(accel.residualsMps2, 1, 4)}`,
    `  residuals of the checks      ${list(calibration.accelCheckErrorsMps2, 1, 4)}`,
  ];
  if (gyro !== null) {
    lines.push(
      `  gyroscope bias, °/s          ${gyro.biasRadps.map((value) => (value * degrees).toFixed(3)).join(', ')}`,
      `  gyroscope scale              ${pairs(gyro.scale, gyro.scaleStandardError, 1, 5)}`,
      `  residuals of the turns, °    ${list(gyro.residualsRad, degrees, 2)}`,
    );
  }
  return `${lines.join('\n')}\n`;
}

function signed(value: number, digits: number): string {
  return `${value >= 0 ? '+' : '−'}${Math.abs(value).toFixed(digits)}`;
}
