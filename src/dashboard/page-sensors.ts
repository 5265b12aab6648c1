import type { FromPage, PageGattLayout, ToPage } from '../foundation/page-feed.ts';
import { HeldSensor, type HeldState } from './held-sensor.ts';
import { type WebBluetooth, webUuid } from './web-bluetooth.ts';

/** One sensor of this page, as it is shown. */
export interface ShownSensor {
  readonly slot: number;
  readonly name: string;
  readonly state: HeldState;
  readonly why: string | null;
}

/** What is needed of a browser's WebSocket. */
export interface FeedSocket {
  binaryType: string;
  readonly readyState: number;
  readonly bufferedAmount: number;
  onopen: (() => void) | null;
  onmessage: ((event: { readonly data: unknown }) => void) | null;
  onclose: (() => void) | null;
  send(data: string | Uint8Array): void;
}

export interface PageSensorsOptions {
  /** `navigator.bluetooth`, where the browser has it. */
  readonly bluetooth: WebBluetooth | undefined;
  readonly openFeed: () => FeedSocket;
  readonly onChange: (sensors: readonly ShownSensor[]) => void;
  readonly retryMs?: readonly [first: number, longest: number];
}

const openState = 1;
/** What waits beyond this for a service that does not read is left out; the sensor's own numbers show what is missing. */
const waitingLimitBytes = 1_000_000;
const feedRetryMs = 1000;
const mostSlots = 8;

/** The sensors that this page holds, and the feed on which it hands over what they send. */
export class PageSensors {
  readonly #options: PageSensorsOptions;
  readonly #held = new Map<number, HeldSensor>();
  readonly #shown = new Map<number, ShownSensor>();
  #socket: FeedSocket | null = null;
  #layout: PageGattLayout | null = null;
  #started = false;

  constructor(options: PageSensorsOptions) {
    this.#options = options;
  }

  /** Opens the feed, once; it is opened again whenever it ends. */
  start(): void {
    if (this.#started) return;
    this.#started = true;
    this.#open();
  }

  /**
   * Lets the person choose one sensor and holds it. Browsers allow this only in answer to a press.
   *
   * @returns why nothing was connected, or null.
   */
  async connectOne(): Promise<string | null> {
    const { bluetooth, retryMs } = this.#options;
    const layout = this.#layout;
    if (!bluetooth || layout === null) return 'not-ready';
    const slot = Array.from({ length: mostSlots }, (_, at) => at).find((at) => !this.#held.has(at));
    if (slot === undefined) return 'full';
    let device: Awaited<ReturnType<WebBluetooth['requestDevice']>>;
    try {
      device = await bluetooth.requestDevice({
        filters: [{ services: [webUuid(layout.service)] }],
        optionalServices: [...new Set(layout.information.map(({ service }) => webUuid(service)))],
      });
    } catch {
      return 'none-chosen';
    }
    const held = new HeldSensor({
      ...{ slot, device, layout },
      ...(retryMs ? { retryMs } : {}),
      sendText: (message) => this.#send(JSON.stringify(message)),
      sendPacket: (packet) => this.#send(packet),
      onState: (state, why) => {
        this.#shown.set(slot, { slot, name: device.name ?? device.id, state, why });
        this.#changed();
      },
    });
    this.#held.set(slot, held);
    void held.hold().then(() => {
      this.#held.delete(slot);
    });
    return null;
  }

  #open(): void {
    const socket = this.#options.openFeed();
    socket.binaryType = 'arraybuffer';
    this.#socket = socket;
    socket.onmessage = ({ data }) => {
      if (socket === this.#socket && typeof data === 'string') this.#take(JSON.parse(data) as ToPage);
    };
    socket.onclose = () => {
      if (socket !== this.#socket) return;
      this.#socket = null;
      setTimeout(() => this.#open(), feedRetryMs);
    };
  }

  #take(message: ToPage): void {
    switch (message.kind) {
      case 'welcome':
        this.#layout = message.layout;
        void this.#tellAvailability();
        for (const held of this.#held.values()) held.tellAgain();
        break;
      case 'time':
        this.#say({ kind: 'time', number: message.number, pageMs: performance.timeOrigin + performance.now() });
        break;
      case 'refused':
        this.#held.get(message.slot)?.refuse(message.why);
        break;
      case 'control':
        void this.#held.get(message.slot)?.ask(message.call, bytesOf(message.bytes));
        break;
    }
  }

  async #tellAvailability(): Promise<void> {
    const { bluetooth } = this.#options;
    if (!bluetooth) {
      this.#say({
        kind: 'unavailable',
        detail: 'The browser of this page has no Web Bluetooth.',
        remedy:
          'Open the page in a browser that has it, such as Chromium; on Linux it may first have to be switched on among its experimental features.',
      });
    } else if ((await bluetooth.getAvailability?.()) === false) {
      this.#say({
        kind: 'unavailable',
        detail: 'The browser finds no Bluetooth adapter that is switched on.',
        remedy: 'Switch Bluetooth on in the settings of this machine, then load the page again.',
      });
    }
  }

  #say(message: FromPage): void {
    this.#send(JSON.stringify(message));
  }

  #send(data: string | Uint8Array): void {
    const socket = this.#socket;
    if (socket?.readyState !== openState || socket.bufferedAmount > waitingLimitBytes) return;
    socket.send(data);
  }

  #changed(): void {
    this.#options.onChange([...this.#shown.values()]);
  }
}

function bytesOf(base64: string): Uint8Array {
  return Uint8Array.from(atob(base64), (character) => character.charCodeAt(0));
}
