import type { WireSignalStream } from '../../server/wire/signal-document.ts';
import { texts } from '../texts.ts';
import { researchTexts } from './texts.ts';

const words = researchTexts.signals;

/** Every recording is read with its streams in an order that stays. */
export function keyOf({ sensorId, streamIndex }: WireSignalStream): string {
  return `${streamIndex} ${sensorId}`;
}

export function nameOf({
  placement,
  sensorId,
  streamIndex,
}: Pick<WireSignalStream, 'placement' | 'sensorId' | 'streamIndex'>): string {
  return words.sensor(
    texts.placements[placement] ?? placement,
    sensorId.length > 8 ? sensorId.slice(0, 8) : sensorId,
    streamIndex,
  );
}

const countFormat = new Intl.NumberFormat(undefined);

export function aboutStream({ rateHz, sampleCount, gapCount, isCalibrated }: WireSignalStream): string {
  return words.aboutSensor(rateHz.toFixed(1), countFormat.format(sampleCount), gapCount, isCalibrated);
}

/** @returns where an axis ends, in as many digits as its round numbers have. */
export function limitText(limit: number): string {
  return limit >= 10 ? limit.toFixed(0) : String(Number(limit.toPrecision(2)));
}
