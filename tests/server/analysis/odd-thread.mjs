// A thread that says what it gets, breaks at a packet that starts with 1, at the end after one that starts with 4, hangs at one with 2,
// and takes a quarter of a second for one with 9.
import { parentPort } from 'node:worker_threads';

const port = /** @type {import('node:worker_threads').MessagePort} */ (parentPort);

let breaksAtEnd = false;

port.on('message', (message) => {
  const head = { streamIndex: 0, hostTimeS: 0, kind: 'stream' };
  /** @param {string} sensorId @param {string} text */
  const say = (sensorId, text) =>
    port.postMessage({
      kind: 'event',
      event: { ...head, sensorId, event: { kind: 'duplicate', message: text } },
      summary: null,
    });
  if (message.kind === 'change') {
    const { sensorId, state, description } = message.change;
    say(sensorId, description ? state : `${state} again`);
  }
  if (message.kind === 'ask') port.postMessage({ kind: 'answer', summaries: [] });
  if (message.kind === 'end' && breaksAtEnd) throw new Error('the end is too much');
  if (message.kind === 'end') {
    port.postMessage({ kind: 'ended' });
    port.close();
  }
  if (message.kind !== 'packet') return;
  const { sensorId, bytes } = message.packet;
  say(sensorId, `packet ${bytes[0]}`);
  if (bytes[0] === 4) breaksAtEnd = true;
  if (bytes[0] === 1) throw new Error('packet 1 is one too many');
  while (bytes[0] === 2);
  if (bytes[0] === 9) Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, 250);
});
