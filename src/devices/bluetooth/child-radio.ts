import { type ChildProcess, fork } from 'node:child_process';
import process from 'node:process';
import { fileURLToPath } from 'node:url';
import { BehaviorSubject, Subject } from 'rxjs';
import type { Clock } from '../../foundation/clock.ts';
import { type Logger, silentLogger } from '../../foundation/logger.ts';
import {
  type CharacteristicRef,
  type GattSession,
  type Radio,
  RadioError,
  type RadioState,
  type Sighting,
} from '../radio.ts';
import {
  type ChildAnswer,
  type ChildCall,
  type FromChild,
  monotonicS,
  type OpenedSession,
  type ToChild,
} from './child-messages.ts';
import type { NobleModule } from './noble-api.ts';
import type { RadioTimes } from './noble-radio.ts';
import { reasonOfExit, unavailable } from './unavailable.ts';

export interface ChildRadioOptions {
  readonly clock: Clock;
  readonly logger?: Logger;
  readonly moduleName?: NobleModule;
  readonly times?: Partial<RadioTimes>;
  /** Arguments of Node for the child; default those of this process. */
  readonly execArgv?: readonly string[];
  /** Seconds without an answer after which the process is killed. */
  readonly silentLimitS?: number;
  /** Shortest and longest wait before a fresh start. */
  readonly restartS?: readonly [shortest: number, longest: number];
  /** Wait before looking again for a kernel module or an adapter that was not there. */
  readonly lookAgainS?: number;
}

const pingS = 1;
/** Deaths in a row after which the radio counts as unavailable. It is tried on. */
const deathLimit = 4;
/** A process that was ready for so long before it died was a sound one. */
const soundAfterS = 30;

interface OpenCall {
  readonly resolve: (value: ChildAnswer) => void;
  readonly reject: (error: RadioError) => void;
}

/**
 * The radio in a process of its own. The process is watched: one that dies or does not answer is replaced, and all
 * connections end; nothing of it reaches the service but words.
 */
export class ChildRadio implements Radio {
  readonly #states = new BehaviorSubject<RadioState>({ state: 'starting' });
  readonly #sightings = new Subject<Sighting>();
  readonly states = this.#states.asObservable();
  readonly sightings = this.#sightings.asObservable();
  readonly #options: ChildRadioOptions;
  readonly #logger: Logger;
  readonly #moduleName: NobleModule;
  /** Host clock minus monotonic clock; both run alike. */
  readonly #offsetS: number;
  #child: ChildProcess | null = null;
  #stderr = '';
  #scanOn = false;
  #closed = false;
  #wasReady = false;
  #readyAtS = 0;
  #deaths = 0;
  #lastAnswerS = 0;
  #ping: NodeJS.Timeout | undefined;
  #restart: NodeJS.Timeout | undefined;
  #lastNumber = 0;
  readonly #calls = new Map<number, OpenCall>();
  readonly #streams = new Map<number, (bytes: Uint8Array, hostTimeS: number) => void>();
  readonly #sessions = new Map<number, ChildSession>();

  constructor(options: ChildRadioOptions) {
    this.#options = options;
    this.#logger = options.logger ?? silentLogger;
    this.#moduleName = options.moduleName ?? '@abandonware/noble';
    this.#offsetS = clockOffsetS(options.clock);
  }

  /** Process id of the child, or null between two of them. */
  get processId(): number | null {
    return this.#child?.pid ?? null;
  }

  start(): void {
    if (this.#child !== null || this.#closed) return;
    const fromSource = import.meta.url.endsWith('.ts');
    const beside = fromSource ? './bluetooth-child-from-source.mjs' : './bluetooth-child.js';
    const child = fork(fileURLToPath(new URL(beside, import.meta.url)), {
      serialization: 'advanced',
      execArgv: [...(this.#options.execArgv ?? process.execArgv.filter((word) => !word.startsWith('--inspect')))],
      stdio: ['ignore', 'ignore', 'pipe', 'ipc'],
    });
    this.#child = child;
    this.#stderr = '';
    this.#wasReady = false;
    this.#lastAnswerS = monotonicS();
    child.stderr?.on('data', (text: Buffer) => {
      this.#stderr = `${this.#stderr}${text.toString('utf8')}`.slice(-2000);
    });
    child.on('message', (message) => {
      if (child === this.#child) this.#take(message as FromChild);
    });
    child.on('error', (error) => this.#logger.warn({ error: error.message }, 'the process of the radio failed'));
    child.on('exit', (code, signal) => {
      if (child === this.#child) this.#onDeath(code, signal);
    });
    this.#send({ kind: 'start', moduleName: this.#moduleName, times: this.#options.times ?? {} });
    if (this.#scanOn) this.#send({ kind: 'scan', on: true });
    this.#ping = setInterval(() => this.#watch(), pingS * 1000);
  }

  scan(on: boolean): void {
    if (on === this.#scanOn) return;
    this.#scanOn = on;
    this.#send({ kind: 'scan', on });
  }

  async connect(radioId: string): Promise<GattSession> {
    const value = await this.#call({ what: 'connect', radioId });
    const session = isOpened(value) ? this.#sessions.get(value.session) : undefined;
    if (!session) throw new RadioError('link-lost', 'the connection ended at once');
    return session;
  }

  async close(): Promise<void> {
    if (this.#closed) return;
    this.#closed = true;
    clearTimeout(this.#restart);
    clearInterval(this.#ping);
    const child = this.#child;
    if (child !== null && child.exitCode === null && child.signalCode === null) {
      const gone = new Promise<void>((resolve) => child.once('exit', () => resolve()));
      this.#send({ kind: 'stop' });
      const slow = setTimeout(() => child.kill('SIGKILL'), 3000);
      await gone;
      clearTimeout(slow);
    }
    this.#child = null;
    this.#endAll('this side ended the connection');
    this.#states.next({ state: 'closed' });
    this.#states.complete();
    this.#sightings.complete();
  }

  #send(message: ToChild): void {
    // A child that has just gone says so by its exit; what was meant for it is lost with it.
    if (this.#child?.connected === true) this.#child.send(message, () => {});
  }

  #call(call: ChildCall): Promise<ChildAnswer> {
    return new Promise((resolve, reject) => {
      if (this.#child === null || this.#states.value.state !== 'ready') {
        reject(new RadioError('unavailable', 'Bluetooth is not ready'));
        return;
      }
      this.#lastNumber += 1;
      // No deadline here: the child has one for each call, and a child that fails to keep them is killed.
      this.#calls.set(this.#lastNumber, { resolve, reject });
      this.#send({ kind: 'call', call: this.#lastNumber, ...call });
    });
  }

  #openSession({ session: number, radioId, characteristics }: OpenedSession): void {
    const session = new ChildSession(radioId, characteristics, {
      call: (call) => this.#call({ ...call, session: number } as ChildCall),
      subscribe: (ref, take) => this.#subscribe(number, ref, take),
    });
    this.#sessions.set(number, session);
    void session.ended.then(() => this.#sessions.delete(number));
  }

  async #subscribe(session: number, ref: CharacteristicRef, take: (bytes: Uint8Array, hostTimeS: number) => void) {
    this.#lastNumber += 1;
    const stream = this.#lastNumber;
    this.#streams.set(stream, take);
    void this.#sessions.get(session)?.ended.then(() => this.#streams.delete(stream));
    await this.#call({ what: 'subscribe', session, ref, stream });
  }

  #take(message: FromChild): void {
    this.#lastAnswerS = monotonicS();
    switch (message.kind) {
      case 'packets': {
        for (const [stream, bytes, atS] of message.packets) this.#streams.get(stream)?.(bytes, atS + this.#offsetS);
        break;
      }
      case 'sighting': {
        const { sighting } = message;
        this.#sightings.next({ ...sighting, hostTimeS: sighting.hostTimeS + this.#offsetS });
        break;
      }
      case 'answer':
        // Here and not behind the promise: the word that it has ended may be the very next message.
        if (isOpened(message.value)) this.#openSession(message.value);
        this.#calls.get(message.call)?.resolve(message.value);
        this.#calls.delete(message.call);
        break;
      case 'failed':
        this.#calls.get(message.call)?.reject(new RadioError(message.code, message.message));
        this.#calls.delete(message.call);
        break;
      case 'ended':
        this.#sessions.get(message.session)?.end(message.why);
        break;
      case 'state':
        this.#takeState(message.state);
        break;
      case 'warning':
        this.#logger.warn({ warning: message.message }, 'the radio');
        break;
      case 'broken':
        this.#replace(message.why);
        break;
      case 'pong':
        break;
    }
  }

  #takeState(state: RadioState): void {
    if (state.state === 'closed') return;
    if (state.state === 'ready') {
      this.#wasReady = true;
      this.#readyAtS = monotonicS();
    }
    // Said by this side already; between a death and its successor's first word the last state stands.
    if (state.state === 'starting') return;
    this.#states.next(state);
    if (state.state !== 'unavailable') return;
    this.#endAll(state.detail);
    // What noble knew of connections and scanning before the adapter went does not fit after it has come back.
    if (this.#wasReady) this.#replace(state.detail, true);
    else if (state.reason === 'no-package' || state.reason === 'package-broken') this.#retire(null);
    else if (state.reason === 'no-kernel-support' || state.reason === 'no-adapter') {
      this.#retire(this.#options.lookAgainS ?? 60);
    }
  }

  #watch(): void {
    const { silentLimitS = 6 } = this.#options;
    this.#lastNumber += 1;
    this.#send({ kind: 'ping', number: this.#lastNumber });
    const silentS = monotonicS() - this.#lastAnswerS;
    if (silentS > silentLimitS) this.#replace(`the process of the radio did not answer for ${silentS.toFixed(0)} s`);
  }

  /** Kills the process and starts another one soon. */
  #replace(why: string, quietly = false): void {
    if (!quietly) this.#logger.warn({ why }, 'the process of the radio is replaced');
    this.#drop();
    this.#again(why);
  }

  #onDeath(code: number | null, signal: string | null): void {
    const reason = this.#wasReady ? null : reasonOfExit(code, signal, this.#stderr);
    const around = { platform: process.platform, execPath: process.execPath, moduleName: this.#moduleName };
    const stderr = this.#stderr.trim().split('\n').at(-1) ?? '';
    this.#drop();
    if (reason !== null) {
      this.#endAll('the process of the radio ended');
      this.#states.next(unavailable(reason, around));
      this.#schedule(this.#options.lookAgainS ?? 60);
      return;
    }
    const why = `the process of the radio ended (${signal ?? `code ${code}`})`;
    this.#logger.warn({ why, stderr }, 'the process of the radio ended');
    this.#again(why);
  }

  #again(why: string): void {
    const [shortestS, longestS] = this.#options.restartS ?? [0.2, 30];
    this.#endAll(why);
    if (this.#wasReady && monotonicS() - this.#readyAtS > soundAfterS) this.#deaths = 0;
    this.#deaths += 1;
    if (this.#deaths >= deathLimit) {
      const around = { platform: process.platform, execPath: process.execPath, moduleName: this.#moduleName };
      this.#states.next(unavailable('process-dies', around, why));
    } else if (this.#states.value.state === 'ready') this.#states.next({ state: 'starting' });
    this.#schedule(Math.min(longestS, shortestS * 2 ** Math.min(this.#deaths - 1, 20)));
  }

  /** Lets the process go that can do nothing here. */
  #retire(againS: number | null): void {
    this.#drop();
    if (againS !== null) this.#schedule(againS);
  }

  #schedule(afterS: number): void {
    clearTimeout(this.#restart);
    if (this.#closed) return;
    this.#restart = setTimeout(() => this.start(), afterS * 1000);
  }

  #drop(): void {
    clearInterval(this.#ping);
    const child = this.#child;
    this.#child = null;
    child?.kill('SIGKILL');
  }

  #endAll(why: string): void {
    for (const { reject } of this.#calls.values()) reject(new RadioError('link-lost', why));
    this.#calls.clear();
    for (const session of [...this.#sessions.values()]) session.end(why);
    this.#sessions.clear();
    this.#streams.clear();
  }
}

/** Read where nothing came in between: the difference of two readings that are apart is off by as much. */
function clockOffsetS(clock: Clock): number {
  let bestS = Number.POSITIVE_INFINITY;
  let offsetS = 0;
  for (let attempt = 0; attempt < 20; attempt++) {
    const beforeS = monotonicS();
    const nowS = clock.nowS();
    const apartS = monotonicS() - beforeS;
    if (apartS >= bestS) continue;
    bestS = apartS;
    offsetS = nowS - beforeS - apartS / 2;
  }
  return offsetS;
}

function isOpened(value: ChildAnswer): value is OpenedSession {
  return value !== null && !(value instanceof Uint8Array);
}

type CallWithoutSession = { readonly what: string; readonly [more: string]: unknown };

interface SessionWays {
  readonly call: (call: CallWithoutSession) => Promise<ChildAnswer>;
  readonly subscribe: (ref: CharacteristicRef, take: (bytes: Uint8Array, hostTimeS: number) => void) => Promise<void>;
}

/** A connection that the child holds. */
class ChildSession implements GattSession {
  readonly radioId: string;
  readonly characteristics: GattSession['characteristics'];
  readonly ended: Promise<string>;
  readonly #ways: SessionWays;
  #resolveEnded: (why: string) => void = () => {};

  constructor(radioId: string, characteristics: GattSession['characteristics'], ways: SessionWays) {
    this.radioId = radioId;
    this.characteristics = characteristics;
    this.#ways = ways;
    this.ended = new Promise((resolve) => {
      this.#resolveEnded = resolve;
    });
  }

  end(why: string): void {
    this.#resolveEnded(why);
  }

  async read(ref: CharacteristicRef): Promise<Uint8Array> {
    const value = await this.#ways.call({ what: 'read', ref });
    return value instanceof Uint8Array ? value : new Uint8Array();
  }

  async write(ref: CharacteristicRef, bytes: Uint8Array, options: { withResponse?: boolean } = {}): Promise<void> {
    await this.#ways.call({ what: 'write', ref, bytes, withResponse: options.withResponse ?? null });
  }

  subscribe(ref: CharacteristicRef, take: (bytes: Uint8Array, hostTimeS: number) => void): Promise<void> {
    return this.#ways.subscribe(ref, take);
  }

  async unsubscribe(ref: CharacteristicRef): Promise<void> {
    await this.#ways.call({ what: 'unsubscribe', ref });
  }

  async disconnect(): Promise<void> {
    try {
      await this.#ways.call({ what: 'disconnect' });
    } catch {
      // Gone already, or gone with the process.
    }
    this.end('this side ended the connection');
  }
}
