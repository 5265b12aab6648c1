import WebSocket from 'ws';
import type { LiveDocument } from '../../src/server/wire/live-document.ts';

/** A page in a process of its own: notes when each shot came and hands the list over when it is asked to. */

/** What came: receipt of the notification that completed it, and of the message, on the machine's monotonic clock. */
export interface ReceivedShot {
  readonly stage: 'early' | 'final';
  readonly hostTimeS: number;
  readonly receivedS: number;
}

const received: ReceivedShot[] = [];
const socket = new WebSocket(String(process.argv[2]));
socket.on('open', () => process.send?.('open'));
socket.on('message', (data) => {
  const receivedS = Number(process.hrtime.bigint()) / 1e9;
  const document = JSON.parse(String(data)) as LiveDocument;
  if (document.kind === 'shot') received.push({ stage: document.shot.stage, hostTimeS: document.hostTimeS, receivedS });
});
process.on('message', () => {
  socket.terminate();
  process.send?.(received, () => process.disconnect());
});
