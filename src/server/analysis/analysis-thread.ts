/** Entry of a thread that analyses: packets of some sensors come in, events of their chains go out. */
import { parentPort, workerData } from 'node:worker_threads';
import { Subject } from 'rxjs';
import type { SensorNotification } from '../../foundation/sensor-notification.ts';
import { chainOpener } from '../../live/chain-opener.ts';
import { PacketPath } from '../../live/packet-path.ts';
import type { SensorStateChange } from '../../live/sensor-streams.ts';
import type { FromThread, ThreadStart, ToThread } from './thread-messages.ts';
import { warmUpAnalysis } from './warm-up.ts';

const port = parentPort;
if (!port) throw new Error('this file runs as a worker thread of the service and nowhere else');
const { settings } = workerData as ThreadStart;
const send = (message: FromThread): void => port.postMessage(message);

const notifications = new Subject<SensorNotification>();
const states = new Subject<SensorStateChange>();
const seen = new Set<string>();
let isFollowed = false;
const path = new PacketPath({
  notifications,
  states,
  openChain: chainOpener(settings),
  onBlock(block) {
    if (isFollowed) send({ kind: 'block', block });
  },
});
path.events.subscribe({
  next(event) {
    // An early shot need not wait for the counts. With a final one the clock goes along, by which shots are paired.
    const isEarly = event.kind === 'analysis' && event.event.kind === 'shot' && event.event.shot.stage === 'early';
    send({ kind: 'event', event, summary: isEarly ? null : path.summary(event.sensorId) });
  },
  complete() {
    stopWarmUp();
    send({ kind: 'ended' });
    port.close();
  },
});
const stopWarmUp = warmUpAnalysis(settings);

/** After so many packets it says that it is at work, without being asked: a question waits behind all that came before it. */
const packetsASign = 100;
let sinceSign = 0;
const sign = (): void => {
  sinceSign = 0;
  send({ kind: 'answer', summaries: [] });
};

/** Between packets what later ones will ask for is prepared; a packet that comes meanwhile waits for one piece at most. */
let willPrepare = false;
const prepareSoon = (): void => {
  if (willPrepare) return;
  willPrepare = true;
  setImmediate(() => {
    willPrepare = false;
    if (path.prepare()) prepareSoon();
  });
};

port.on('message', (message: ToThread) => {
  if (message.kind === 'packet') {
    notifications.next(message.packet);
    sinceSign += 1;
    if (sinceSign >= packetsASign) sign();
    prepareSoon();
  } else if (message.kind === 'change') {
    seen.add(message.change.sensorId);
    states.next(message.change);
  } else if (message.kind === 'follow') {
    isFollowed = message.isOn;
  } else if (message.kind === 'ask') {
    send({
      kind: 'answer',
      summaries: [...seen].map((sensorId) => ({ sensorId, summary: path.summary(sensorId) })),
    });
  } else {
    notifications.complete();
    states.complete();
  }
});
sign();
