/**
 * What the proof runs on other versions of Node: the whole way through the radio's process over the virtual controller.
 * Prints one line of JSON.
 */
import process from 'node:process';
import { encodeNotification } from '../../../src/protocol/notification.ts';
import { childAir } from '../../devices/bluetooth/through-child.ts';
import { plainStream, streamFrame } from '../../protocol/made-frames.ts';

export interface NodeRun {
  readonly node: string;
  readonly mtu: number;
  readonly sent: number;
  readonly received: number;
  readonly wrong: number;
  readonly connections: number;
  readonly elapsedS: number;
}

/** Scan, connect, MTU, describe, subscribe, `count` notifications, drop, reconnect, 500 more. */
export async function runOnce(mtu: number, count: number): Promise<NodeRun> {
  const air = await childAir({ sensors: [{ number: 1, mtu }], streaming: false });
  const sensor = air.sensors[0]!;
  const shape = mtu === 23 ? { ...plainStream, form: 'short' as const } : { ...plainStream, rows: 19 };
  const sent: Uint8Array[] = [];
  const startMs = performance.now();
  const sendAll = async (packets: number): Promise<void> => {
    for (let at = 0; at < packets; at++) {
      const bytes = encodeNotification(streamFrame(shape, at));
      if (!sensor.send(bytes)) throw new Error('nobody listens');
      sent.push(bytes);
      if (at % 10 === 9) await air.seen.until('reading', () => sent.length - air.seen.packets.length < 40);
    }
    await air.seen.until('the last one', () => air.seen.packets.length >= sent.length).catch(() => {});
  };
  air.provider.open('any');
  await air.seen.until('the start', () => sensor.startCount === 1, 60_000);
  await sendAll(count);
  sensor.peripheral.drop();
  await air.seen.until('the second start', () => sensor.startCount === 2, 60_000);
  await sendAll(500);
  const { packets } = air.seen;
  const wrong = sent.filter((bytes, at) => !Buffer.from(bytes).equals(packets[at]?.bytes ?? new Uint8Array())).length;
  const { connectionCount: connections } = sensor.peripheral;
  await air.close();
  const elapsedS = (performance.now() - startMs) / 1000;
  return { node: process.version, mtu, sent: sent.length, received: packets.length, wrong, connections, elapsedS };
}

if (process.argv[2] === 'run') {
  const count = Number(process.argv[3] ?? 20_000);
  const runs = [await runOnce(247, count), await runOnce(23, count)];
  process.stdout.write(`${JSON.stringify(runs)}\n`);
  process.exit();
}
