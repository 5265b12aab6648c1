import { SensorChain } from '../../src/live/notification-chain.ts';
import { decodeNotification } from '../../src/protocol/notification.ts';
import { NotificationParser } from '../../src/protocol/notification-parser.ts';
import { practiceNotifications } from '../helpers/bench-practice.ts';
import type { BenchRow } from './bench.ts';

/**
 * From bytes to samples, without analysis. Baseline: nothing but reading every int16 of the same notifications.
 * Seed `bench decode`, 200 Hz.
 */
export async function rows(): Promise<readonly BenchRow[]> {
  const { description, notifications } = practiceNotifications('bench decode', 8, 200);
  const samples = notifications.reduce((sum, { bytes }) => {
    const decoded = decodeNotification(bytes);
    return sum + (decoded.kind === 'frame' ? decoded.frame.samples.length / 6 : 0);
  }, 0);
  const common = { amount: samples, amountOf: 'samples', recordingS: samples / 200 };
  return [
    {
      ...common,
      name: 'read every int16',
      baseline: true,
      run: () => {
        let sum = 0;
        for (const { bytes } of notifications) {
          const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
          for (let at = 0; at + 1 < bytes.byteLength; at += 2) sum += view.getInt16(at, true);
        }
        return sum;
      },
    },
    {
      ...common,
      name: 'decode',
      run: () => {
        let frames = 0;
        for (const { bytes } of notifications) if (decodeNotification(bytes).kind === 'frame') frames++;
        return frames;
      },
    },
    {
      ...common,
      name: 'decode, put in order, find gaps',
      run: () => {
        const parser = new NotificationParser({ sensorName: 'bench' });
        let events = 0;
        for (const { bytes, hostTimeS } of notifications) events += parser.push(bytes, hostTimeS).length;
        return events + parser.finish().length;
      },
    },
    {
      ...common,
      name: 'all the way to sample blocks on the fitted clock',
      run: () => {
        const chain = new SensorChain({ sensorName: 'bench', description, ballSettings: null });
        let events = 0;
        for (const { bytes, hostTimeS } of notifications) events += chain.push(bytes, hostTimeS).length;
        return events + chain.finish().length;
      },
    },
  ];
}
