import { Buffer } from 'node:buffer';
import { BehaviorSubject, EMPTY, type Observable, ReplaySubject, Subject } from 'rxjs';
import type { Clock } from '../foundation/clock.ts';
import { SeamwiseError } from '../foundation/errors.ts';
import { type PageGattLayout, packetHeaderBytes, type ToPage } from '../foundation/page-feed.ts';
import type { SensorNotification } from '../foundation/sensor-notification.ts';
import { decodeControlAnswer, encodeControlRequest } from '../protocol/control-message.ts';
import { sensorCharacteristics, standardCharacteristics } from '../protocol/gatt-layout.ts';
import { decodeSensorDescription } from '../protocol/sensor-description.ts';
import type { SensorState, SensorStateEvent } from './notification-source.ts';
import { PageClock } from './page-clock.ts';
import { parseFromPage } from './page-messages.ts';
import { plainText } from './read-information.ts';
import type {
  DiscoveredSensor,
  ProviderState,
  SensorInformation,
  SensorProvider,
  WantedSensors,
} from './sensor-provider.ts';

/** One page that can hold sensors, as the service hears it. */
export interface PageFeed {
  /** @returns what is wrong with the text, or null. */
  takeText(text: string): string | null;
  /** @returns what is wrong with the bytes, or null. */
  takePacket(bytes: Uint8Array): string | null;
  /** The page is gone. */
  close(): void;
}

interface Page {
  readonly send: (message: ToPage) => void;
  readonly clock: PageClock;
  readonly slots: Map<number, Held>;
  unavailable: { readonly detail: string; readonly remedy: string } | null;
}

/** A sensor that a page holds. */
interface Held {
  readonly sensorId: string;
  readonly page: Page;
  readonly slot: number;
  readonly name: string | null;
  readonly description: Uint8Array;
  readonly canIdentify: boolean;
  streaming: boolean;
}

interface Known {
  state: SensorState | null;
  description: Uint8Array | null;
  lastNotificationS: number | null;
}

const quietS = 1;
const answerS = 5;
const blinkS = 5;
const pressRemedy = 'Press “Connect a sensor” on the page, in a browser that knows Web Bluetooth (such as Chromium).';

const layout: PageGattLayout = {
  service: sensorCharacteristics.stream.service,
  stream: sensorCharacteristics.stream.characteristic,
  description: sensorCharacteristics.description.characteristic,
  control: sensorCharacteristics.control.characteristic,
  information: Object.entries(standardCharacteristics).map(([name, { service, characteristic }]) => {
    return { name, service, characteristic };
  }),
};

/**
 * Sensors that a page on this machine connects to by Web Bluetooth, for machines where no package for the adapter can
 * be had. The page hands over the raw notifications with its receive times; everything after that is the same path.
 * The page reconnects by itself; a person has to choose each sensor once, since the browser demands it.
 */
export class BrowserSensors implements SensorProvider {
  readonly kind = 'browser';
  readonly simulated = false;
  readonly #notifications = new Subject<SensorNotification>();
  readonly #states = new Subject<SensorStateEvent>();
  readonly #providerStates = new BehaviorSubject<ProviderState>(noPage);
  readonly #information = new ReplaySubject<SensorInformation>(64);
  readonly notifications = this.#notifications.asObservable();
  readonly states = this.#states.asObservable();
  readonly providerStates = this.#providerStates.asObservable();
  readonly information = this.#information.asObservable();
  readonly #clock: Clock;
  readonly #pages = new Set<Page>();
  readonly #known = new Map<string, Known>();
  readonly #calls = new Map<number, (answer: { bytes: Uint8Array | null; problem: string | null }) => void>();
  /** Null until it is known: a page that comes sooner is welcomed then, or it would be refused what it holds. */
  #wanted: WantedSensors | null = null;
  #lastCall = 0;
  #cancelTick: (() => void) | null = null;
  #closed = false;

  constructor({ clock }: { readonly clock: Clock }) {
    this.#clock = clock;
  }

  /** A browser shows what is in the air to a person only. */
  discover(): Observable<DiscoveredSensor> {
    return EMPTY;
  }

  open(wanted: WantedSensors): void {
    if (this.#closed) return;
    const waiting = this.#wanted === null ? [...this.#pages] : [];
    this.#wanted = wanted;
    for (const page of waiting) this.#welcome(page);
    this.#cancelTick ??= this.#tick();
    for (const held of this.#held()) {
      if (!this.#isWanted(held.sensorId)) this.#refuse(held, 'it is not wanted any more');
    }
    if (wanted === 'any') return;
    for (const sensorId of wanted)
      if (this.#knownOf(sensorId).state === null) this.#tell(sensorId, 'searching', null, { remedy: pressRemedy });
  }

  /** Takes a page in that has opened its feed. */
  connectPage(sendText: (text: string) => void): PageFeed {
    const page: Page = {
      send: (message) => sendText(JSON.stringify(message)),
      clock: new PageClock(this.#clock, (number) => page.send({ kind: 'time', number })),
      slots: new Map(),
      unavailable: null,
    };
    this.#pages.add(page);
    if (this.#wanted !== null) this.#welcome(page);
    this.#update();
    return {
      takeText: (text) => (this.#closed ? null : this.#takeText(page, text)),
      takePacket: (bytes) => (this.#closed ? null : this.#takePacket(page, bytes)),
      close: () => {
        if (!this.#pages.delete(page) || this.#closed) return;
        for (const held of [...page.slots.values()]) this.#lose(held, 'the page that held the sensor was closed');
        this.#update();
      },
    };
  }

  /** After this the page tells what it holds. */
  #welcome(page: Page): void {
    page.send({ kind: 'welcome', layout });
    page.clock.ask();
  }

  async identify(sensorId: string): Promise<void> {
    const held = this.#held().find((other) => other.sensorId === sensorId);
    if (!held) throw new SeamwiseError('sensor-not-connected', `sensor ${sensorId} is not connected: ${pressRemedy}`);
    if (!held.canIdentify) {
      throw new SeamwiseError('sensor-cannot-identify', `sensor ${sensorId} has nothing to show itself with`);
    }
    this.#lastCall += 1;
    const call = this.#lastCall;
    const request = encodeControlRequest({ kind: 'identify', durationS: blinkS }, (call % 255) + 1);
    const { bytes, problem } = await this.#ask(held, call, request);
    const decoded = bytes === null ? null : decodeControlAnswer(bytes);
    if (decoded?.kind === 'answer' && decoded.answer.status === 'done') return;
    const said = decoded === null ? problem : decoded.kind === 'answer' ? decoded.answer.status : decoded.problem;
    throw new SeamwiseError('sensor-cannot-identify', `sensor ${sensorId} did not show itself: ${said}`);
  }

  async close(): Promise<void> {
    if (this.#closed) return;
    this.#closed = true;
    this.#cancelTick?.();
    for (const sensorId of this.#known.keys()) this.#tell(sensorId, 'ended', null);
    this.#states.complete();
    this.#notifications.complete();
    this.#information.complete();
    this.#providerStates.next({ state: 'closed', detail: null });
    this.#providerStates.complete();
  }

  #ask(held: Held, call: number, request: Uint8Array): Promise<{ bytes: Uint8Array | null; problem: string | null }> {
    return new Promise((resolve) => {
      const cancel = this.#clock.schedule(this.#clock.nowS() + answerS, () => {
        this.#calls.delete(call);
        resolve({ bytes: null, problem: `no answer within ${answerS} s` });
      });
      this.#calls.set(call, (answer) => {
        cancel();
        this.#calls.delete(call);
        resolve(answer);
      });
      held.page.send({ kind: 'control', slot: held.slot, call, bytes: Buffer.from(request).toString('base64') });
    });
  }

  #takeText(page: Page, text: string): string | null {
    const message = parseFromPage(text);
    if (message === null) return 'a text that is no message';
    switch (message.kind) {
      case 'time':
        page.clock.take(message.number, message.pageMs);
        break;
      case 'unavailable':
        page.unavailable = { detail: message.detail, remedy: message.remedy };
        this.#update();
        break;
      case 'connecting': {
        const held = page.slots.get(message.slot);
        if (held) this.#tell(held.sensorId, 'connecting', null);
        break;
      }
      case 'opened':
        return this.#opened(page, message);
      case 'information':
        this.#inform(page.slots.get(message.slot), message.values);
        break;
      case 'lost': {
        const held = page.slots.get(message.slot);
        if (held) this.#lose(held, message.why);
        break;
      }
      case 'answer': {
        const { call, bytes, problem } = message;
        this.#calls.get(call)?.({ bytes: bytes === null ? null : Buffer.from(bytes, 'base64'), problem });
        break;
      }
    }
    return null;
  }

  #opened(
    page: Page,
    message: {
      readonly slot: number;
      readonly name: string | null;
      readonly description: string;
      readonly canIdentify: boolean;
    },
  ): string | null {
    const { slot, name, canIdentify } = message;
    const description = Uint8Array.from(Buffer.from(message.description, 'base64'));
    let sensorId: string;
    try {
      ({ sensorId } = decodeSensorDescription(description));
    } catch (error) {
      page.send({ kind: 'refused', slot, why: error instanceof Error ? error.message : String(error) });
      return null;
    }
    const held: Held = {
      ...{ sensorId, page, slot, description, canIdentify, streaming: false },
      name: name === null ? null : plainText(name),
    };
    if (!this.#isWanted(sensorId)) {
      this.#refuse(held, 'this sensor is not among those that are wanted');
      return null;
    }
    const other = this.#held().find((one) => one.sensorId === sensorId && one !== page.slots.get(slot));
    if (other) {
      this.#refuse(held, 'another page or another device holds a sensor with this id');
      return null;
    }
    page.slots.set(slot, held);
    page.unavailable = null;
    this.#tell(sensorId, 'connecting', null);
    this.#update();
    return null;
  }

  #takePacket(page: Page, bytes: Uint8Array): string | null {
    if (bytes.length <= packetHeaderBytes) return `a packet of ${bytes.length} bytes`;
    const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
    const held = page.slots.get(bytes[0]!);
    // One that was refused or given up a moment ago may still have sent.
    if (!held) return null;
    const hostTimeS = page.clock.hostTimeS(view.getFloat64(1, true));
    const known = this.#knownOf(held.sensorId);
    if (!held.streaming || known.state !== 'streaming') this.#begin(held, known, hostTimeS);
    known.lastNotificationS = hostTimeS;
    this.#notifications.next({ sensorId: held.sensorId, bytes: bytes.slice(packetHeaderBytes), hostTimeS });
    return null;
  }

  #begin(held: Held, known: Known, hostTimeS: number): void {
    held.streaming = true;
    const goesOn = known.description !== null && Buffer.from(known.description).equals(held.description);
    known.description = held.description;
    const { lastNotificationS } = known;
    const silentS = lastNotificationS === null ? null : Math.max(0, hostTimeS - lastNotificationS);
    const detail = silentS === null ? null : `back after ${silentS.toFixed(silentS < 10 ? 1 : 0)} s without data`;
    const description = goesOn ? null : held.description;
    this.#tell(held.sensorId, 'streaming', detail, {
      description,
      hostTimeS,
      ...(silentS === null ? {} : { silentS }),
    });
    this.#update();
  }

  #inform(held: Held | undefined, values: Readonly<Record<string, string>>): void {
    if (!held) return;
    const bytesOf = (name: string): Buffer => Buffer.from(values[name] ?? '', 'base64');
    const text = (name: string): string | null => plainText(bytesOf(name).toString('utf8'));
    const battery = bytesOf('batteryPercent');
    const percent = battery.length === 1 ? battery[0]! : null;
    this.#information.next({
      ...{ sensorId: held.sensorId, name: held.name, kindName: 'stream format', rssiDbm: null },
      batteryPercent: percent !== null && percent <= 100 ? percent : null,
      ...{ manufacturer: text('manufacturer'), model: text('model'), serialNumber: null },
      ...{ hardwareRevision: text('hardwareRevision'), firmwareRevision: text('firmwareRevision') },
      softwareRevision: null,
    });
  }

  #refuse(held: Held, why: string): void {
    held.page.send({ kind: 'refused', slot: held.slot, why });
    if (held.page.slots.get(held.slot) !== held) return;
    held.page.slots.delete(held.slot);
    this.#tell(held.sensorId, 'ended', why);
    this.#update();
  }

  #lose(held: Held, why: string): void {
    held.page.slots.delete(held.slot);
    const remedy = `The page tries by itself for as long as it is open. ${pressRemedy}`;
    this.#tell(held.sensorId, 'lost', why, { remedy });
    this.#update();
  }

  #tick(): () => void {
    return this.#clock.schedule(this.#clock.nowS() + quietS / 4, () => {
      const nowS = this.#clock.nowS();
      for (const { sensorId } of this.#held()) {
        const { state, lastNotificationS } = this.#knownOf(sensorId);
        const isQuiet = lastNotificationS !== null && nowS - lastNotificationS > quietS;
        if (state === 'streaming' && isQuiet) this.#tell(sensorId, 'quiet', 'connected, but nothing comes');
      }
      for (const page of this.#pages) page.clock.askAgain();
      if (!this.#closed) this.#cancelTick = this.#tick();
    });
  }

  #update(): void {
    if (this.#closed) return;
    const held = this.#held();
    const unavailable = [...this.#pages].find((page) => page.unavailable !== null)?.unavailable;
    let state: ProviderState = noPage;
    if (held.length > 0) state = { state: 'ready', detail: null };
    else if (unavailable) state = { state: 'unavailable', reason: 'no-adapter', ...unavailable };
    else if (this.#pages.size > 0) state = { state: 'searching', detail: pressRemedy };
    if (JSON.stringify(state) !== JSON.stringify(this.#providerStates.value)) this.#providerStates.next(state);
  }

  #tell(
    sensorId: string,
    state: SensorState,
    detail: string | null,
    more: Partial<Pick<SensorStateEvent, 'remedy' | 'silentS' | 'description' | 'hostTimeS'>> = {},
  ): void {
    this.#knownOf(sensorId).state = state;
    this.#states.next({ sensorId, state, hostTimeS: this.#clock.nowS(), description: null, detail, ...more });
  }

  #held(): Held[] {
    return [...this.#pages].flatMap((page) => [...page.slots.values()]);
  }

  #isWanted(sensorId: string): boolean {
    return this.#wanted === 'any' || this.#wanted?.includes(sensorId) === true;
  }

  #knownOf(sensorId: string): Known {
    let known = this.#known.get(sensorId);
    if (!known) {
      known = { state: null, description: null, lastNotificationS: null };
      this.#known.set(sensorId, known);
    }
    return known;
  }
}

const noPage: ProviderState = {
  state: 'unavailable',
  reason: 'no-page',
  detail: 'No page is open that could connect a sensor.',
  remedy: `Open the page on this machine. ${pressRemedy}`,
};
