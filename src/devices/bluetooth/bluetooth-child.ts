/**
 * The process that holds the radio, started by `ChildRadio` and by nobody else. All that noble can do to a process
 * happens here: an abort on a normal exit after a failed load (Node 24 and later), a connect that blocks for 40 s,
 * uncaught exceptions on malformed packets. The service sees it as a process that answers or does not.
 */
import process from 'node:process';
import { type GattSession, RadioError } from '../radio.ts';
import {
  type ChildAnswer,
  type ChildCall,
  type ChildPacket,
  type FromChild,
  monotonicS,
  type ToChild,
} from './child-messages.ts';
import { loadNoble } from './noble-api.ts';
import { NobleRadio } from './noble-radio.ts';
import { errorFacts } from './unavailable.ts';

/** Malformed packets within `malformedWithinS` after which a fresh start is the better thing. */
const malformedLimit = 20;
const malformedWithinS = 10;
/** Messages that may wait for a service that is held up; about an hour of one sensor. */
const waitingLimit = 100_000;

let radio: NobleRadio | null = null;
const sessions = new Map<number, GattSession>();
let lastSession = 0;
let waiting = 0;
let packets: ChildPacket[] = [];
let malformedAtS: number[] = [];

function send(message: FromChild, done?: () => void): void {
  if (!process.connected) return;
  waiting += 1;
  process.send?.(message, undefined, undefined, () => {
    waiting -= 1;
    done?.();
  });
}

/** Ends without running what noble has hung on a normal exit: that is where Node aborts. */
function endNow(): void {
  process.kill(process.pid, 'SIGKILL');
}

function takePacket(packet: ChildPacket): void {
  // Beyond the limit the sequence numbers of the sensor tell what is missing.
  if (waiting > waitingLimit) return;
  packets.push(packet);
  if (packets.length > 1) return;
  setImmediate(() => {
    const all = packets;
    packets = [];
    send({ kind: 'packets', packets: all });
  });
}

function start({ moduleName, times }: Extract<ToChild, { kind: 'start' }>): void {
  const started = new NobleRadio({
    load: () => loadNoble(moduleName),
    around: { platform: process.platform, execPath: process.execPath, moduleName },
    nowS: monotonicS,
    broken: (why) => send({ kind: 'broken', why }, endNow),
    times,
  });
  radio = started;
  started.states.subscribe((state) => send({ kind: 'state', state }));
  started.sightings.subscribe((sighting) => send({ kind: 'sighting', sighting }));
  started.start();
}

async function answer(call: ChildCall): Promise<ChildAnswer> {
  if (radio === null) throw new RadioError('unavailable', 'the radio was not started');
  if (call.what === 'connect') return open(radio, call.radioId);
  const session = sessions.get(call.session);
  if (!session) throw new RadioError('link-lost', 'the connection is gone');
  switch (call.what) {
    case 'read':
      return session.read(call.ref);
    case 'write': {
      const options = call.withResponse === null ? {} : { withResponse: call.withResponse };
      await session.write(call.ref, call.bytes, options);
      return null;
    }
    case 'subscribe':
      await session.subscribe(call.ref, (bytes, atS) => takePacket([call.stream, bytes, atS]));
      return null;
    case 'unsubscribe':
      await session.unsubscribe(call.ref);
      return null;
    case 'disconnect':
      await session.disconnect();
      return null;
  }
}

async function open(from: NobleRadio, radioId: string): Promise<ChildAnswer> {
  const session = await from.connect(radioId);
  lastSession += 1;
  const number = lastSession;
  sessions.set(number, session);
  // The answer goes first: nobody there knows the session before.
  setImmediate(() => {
    void session.ended.then((why) => {
      sessions.delete(number);
      send({ kind: 'ended', session: number, why });
    });
  });
  return { session: number, radioId, characteristics: session.characteristics };
}

async function obey(message: Extract<ToChild, { kind: 'call' }>): Promise<void> {
  const { call } = message;
  try {
    send({ kind: 'answer', call, value: await answer(message) });
  } catch (error) {
    const code = error instanceof RadioError ? error.code : 'refused';
    send({ kind: 'failed', call, code, message: errorFacts(error).message });
  }
}

/**
 * A packet that noble cannot read throws out of its reader; the packet is lost, the reader is not. Anything else, or
 * too much of it, ends the process.
 */
function onUncaught(error: unknown): void {
  const { code, message } = errorFacts(error);
  const nowS = monotonicS();
  const isPacket = error instanceof RangeError && code.startsWith('ERR_');
  malformedAtS = malformedAtS.filter((atS) => nowS - atS < malformedWithinS);
  if (isPacket && malformedAtS.length < malformedLimit) {
    malformedAtS.push(nowS);
    send({ kind: 'warning', message: `a packet could not be read: ${message}` });
    return;
  }
  send({ kind: 'broken', why: message }, endNow);
}

process.on('uncaughtException', onUncaught);
process.on('unhandledRejection', (error) => {
  // Noble throws inside its own promises when it writes to a connection that has just ended.
  send({ kind: 'warning', message: errorFacts(error).message });
});
process.on('disconnect', endNow);
// A Ctrl-C in a terminal reaches this process too; the service says when it is to stop.
process.on('SIGINT', () => {});
process.on('message', (message: ToChild) => {
  switch (message.kind) {
    case 'start':
      start(message);
      break;
    case 'ping':
      send({ kind: 'pong', number: message.number });
      break;
    case 'scan':
      radio?.scan(message.on);
      break;
    case 'call':
      void obey(message);
      break;
    case 'stop':
      void (radio?.close() ?? Promise.resolve()).finally(endNow);
      break;
  }
});
