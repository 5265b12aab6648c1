import { type FromPage, type PageGattLayout, packetHeaderBytes } from '../foundation/page-feed.ts';
import { type WebCharacteristic, type WebDevice, type WebGattServer, webUuid, within } from './web-bluetooth.ts';

export type HeldState = 'connecting' | 'streaming' | 'lost' | 'refused';

export interface HeldSensorOptions {
  readonly slot: number;
  readonly device: WebDevice;
  readonly layout: PageGattLayout;
  readonly sendText: (message: FromPage) => void;
  readonly sendPacket: (packet: Uint8Array) => void;
  readonly onState: (state: HeldState, why: string | null) => void;
  /** First and longest wait between two attempts, milliseconds. */
  readonly retryMs?: readonly [first: number, longest: number];
}

const connectMs = 15_000;
const answerMs = 5000;

/**
 * One sensor that this page holds by the browser's Bluetooth: connects, describes, subscribes, hands over what comes,
 * and begins again after every loss, until the page is closed or the service does not want it.
 */
export class HeldSensor {
  readonly #options: HeldSensorOptions;
  #opened: FromPage | null = null;
  #control: WebCharacteristic | null = null;
  #wake: () => void = () => {};
  #refusedWhy: string | null = null;

  constructor(options: HeldSensorOptions) {
    this.#options = options;
  }

  /** Runs for as long as the sensor is held. */
  async hold(): Promise<void> {
    const { slot, device, sendText, onState, retryMs = [500, 15_000] } = this.#options;
    const [firstMs, longestMs] = retryMs;
    for (let waitMs = firstMs; this.#refusedWhy === null; waitMs = Math.min(2 * waitMs, longestMs)) {
      onState('connecting', null);
      sendText({ kind: 'connecting', slot, name: device.name ?? null });
      let why: string;
      try {
        why = await this.#connection();
        waitMs = firstMs;
      } catch (error) {
        why = error instanceof Error ? error.message : String(error);
      }
      this.#opened = null;
      this.#control = null;
      device.gatt?.disconnect();
      if (this.#refusedWhy !== null) break;
      onState('lost', why);
      sendText({ kind: 'lost', slot, why: why.slice(0, 400) });
      await new Promise<void>((resolve) => {
        const timer = setTimeout(resolve, waitMs);
        this.#wake = () => {
          clearTimeout(timer);
          resolve();
        };
      });
    }
    onState('refused', this.#refusedWhy);
  }

  /** The service does not want this sensor. */
  refuse(why: string): void {
    this.#refusedWhy = why;
    this.#options.device.gatt?.disconnect();
    this.#wake();
  }

  /** Tells a service that has come back what it holds. */
  tellAgain(): void {
    if (this.#opened) this.#options.sendText(this.#opened);
  }

  /** Writes a request and reads its answer. */
  async ask(call: number, bytes: Uint8Array): Promise<void> {
    const { sendText } = this.#options;
    try {
      if (this.#control === null) throw new Error('it is not connected');
      await within(this.#control.writeValueWithResponse(bytes), answerMs, 'writing the request');
      const answer = await within(this.#control.readValue(), answerMs, 'reading the answer');
      sendText({ kind: 'answer', call, bytes: base64Of(answer), problem: null });
    } catch (error) {
      const problem = error instanceof Error ? error.message : String(error);
      sendText({ kind: 'answer', call, bytes: null, problem: problem.slice(0, 400) });
    }
  }

  /** @returns why the connection ended. */
  async #connection(): Promise<string> {
    const { slot, device, layout, sendText, sendPacket, onState } = this.#options;
    if (!device.gatt) throw new Error('the browser gives no access to this device');
    const ended = new Promise<string>((resolve) => {
      device.addEventListener('gattserverdisconnected', () => resolve('the connection ended'), { once: true });
    });
    const server = await within(device.gatt.connect(), connectMs, 'connecting');
    const service = await within(
      server.getPrimaryService(webUuid(layout.service)),
      answerMs,
      'looking for the service',
    );
    const find = (uuid: string) => within(service.getCharacteristic(webUuid(uuid)), answerMs, `looking for ${uuid}`);
    const description = await within((await find(layout.description)).readValue(), answerMs, 'reading the description');
    const stream = await find(layout.stream);
    this.#control = await find(layout.control).catch(() => null);
    const onValue = (event: Event): void => {
      const { value } = stream;
      if (value) sendPacket(packetOf(slot, performance.timeOrigin + event.timeStamp, value));
    };
    // Before the subscription: the first notifications do not wait for its answer.
    stream.addEventListener('characteristicvaluechanged', onValue);
    try {
      const canIdentify = this.#control !== null;
      const name = device.name ?? null;
      this.#opened = { kind: 'opened', slot, name, description: base64Of(description), canIdentify };
      sendText(this.#opened);
      await within(stream.startNotifications(), answerMs, 'subscribing');
      onState('streaming', null);
      void this.#inform(server);
      return await ended;
    } finally {
      stream.removeEventListener('characteristicvaluechanged', onValue);
    }
  }

  /** What of it fails is left out: the stream matters more. */
  async #inform(server: WebGattServer): Promise<void> {
    const { slot, layout, sendText } = this.#options;
    const values: Record<string, string> = {};
    for (const { name, service, characteristic } of layout.information) {
      try {
        const from = await within(server.getPrimaryService(webUuid(service)), answerMs, 'looking for a service');
        const found = await within(from.getCharacteristic(webUuid(characteristic)), answerMs, 'looking for a value');
        values[name] = base64Of(await within(found.readValue(), answerMs, 'reading a value'));
      } catch {
        // Not there, or hidden by the browser.
      }
    }
    sendText({ kind: 'information', slot, values });
  }
}

function packetOf(slot: number, pageMs: number, value: DataView): Uint8Array {
  const packet = new Uint8Array(packetHeaderBytes + value.byteLength);
  packet[0] = slot;
  new DataView(packet.buffer).setFloat64(1, pageMs, true);
  packet.set(new Uint8Array(value.buffer, value.byteOffset, value.byteLength), packetHeaderBytes);
  return packet;
}

function base64Of(value: DataView): string {
  return btoa(String.fromCharCode(...new Uint8Array(value.buffer, value.byteOffset, value.byteLength)));
}
