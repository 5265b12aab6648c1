import type { ImuBlock } from '../foundation/imu-block.ts';

export const csvHeader = 't_s,ax_mps2,ay_mps2,az_mps2,gx_radps,gy_radps,gz_radps';

/**
 * A block as CSV text with the header `csvHeader` (without the gyro columns where the block has none); lost samples are
 * missing rows.
 *
 * @param firstTimeS added to all times.
 */
export function* csvLines(block: ImuBlock, firstTimeS = 0): Generator<string> {
  yield block.gyroRadps ? csvHeader : csvHeader.split(',').slice(0, 4).join(',');
  for (let i = 0; i < block.length; i++) {
    const row = [((block.timeS[i] as number) + firstTimeS).toFixed(6)];
    for (let axis = 0; axis < 3; axis++) row.push((block.accelMps2[3 * i + axis] as number).toFixed(5));
    if (block.gyroRadps) {
      for (let axis = 0; axis < 3; axis++) row.push((block.gyroRadps[3 * i + axis] as number).toFixed(6));
    }
    yield row.join(',');
  }
}

export function blockToCsv(block: ImuBlock, firstTimeS = 0): string {
  return `${[...csvLines(block, firstTimeS)].join('\n')}\n`;
}

/** The same block as from a sensor without gyroscope. */
export function withoutGyro(block: ImuBlock): ImuBlock {
  return { ...block, gyroRadps: null };
}
