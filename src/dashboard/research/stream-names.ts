import type { WireSignalStream } from '../../server/wire/signal-document.ts';
import { researchTexts } from './texts.ts';

const words = researchTexts.signals;

/** Every recording is read with its streams in an order that stays. */
export function keyOf({ sensorId, streamIndex }: WireSignalStream): string {
  return `${streamIndex} ${sensorId}`;
}

export function nameOf({ placement, sensorId, streamIndex }: WireSignalStream): string {
  return words.sensor(placement, sensorId.length > 8 ? sensorId.slice(0, 8) : sensorId, streamIndex);
}

const countFormat = new Intl.NumberFormat(undefined);

export function aboutStream({ rateHz, sampleCount, gapCount, isCalibrated }: WireSignalStream): string {
  return words.aboutSensor(rateHz.toFixed(1), countFormat.format(sampleCount), gapCount, isCalibrated);
}
