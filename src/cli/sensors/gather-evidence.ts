import { type CharacteristicRef, type GattSession, RadioError } from '../../devices/radio.ts';
import { readInformation } from '../../devices/read-information.ts';
import { crc8Register } from '../../protocol/checksum.ts';
import type {
  ConformityEvidence,
  ControlTrial,
  SeenAnswer,
  SeenNotification,
  SeenSilence,
  SeenStart,
} from '../../protocol/conformity/evidence.ts';
import { type ControlRequest, controlVersion, encodeControlRequest } from '../../protocol/control-message.ts';
import { sensorCharacteristics, standardCharacteristics } from '../../protocol/gatt-layout.ts';
import { decodeSensorDescription, type SensorDescription } from '../../protocol/sensor-description.ts';
import type { RadioDesk, SeenDevice } from './radio-desk.ts';

const { stream, description: descriptionPlace, control } = sensorCharacteristics;
const firstStreamS = 6;
const laterStreamS = 3;
/** What was on its way when a stream was stopped may still come. */
const settleS = 0.4;
const silenceS = 1;

/** Puts a sensor to the test and writes down what it does. Judges nothing. */
export async function gatherEvidence(
  desk: RadioDesk,
  device: SeenDevice,
  say: (text: string) => void,
): Promise<ConformityEvidence> {
  const test = new SensorTest(desk, device, say);
  return test.run();
}

class SensorTest {
  readonly #desk: RadioDesk;
  readonly #device: SeenDevice;
  readonly #say: (text: string) => void;
  readonly #descriptions: (Uint8Array | null)[] = [];
  readonly #starts: SeenStart[] = [];
  readonly #silences: SeenSilence[] = [];
  readonly #answers: SeenAnswer[] = [];
  #session!: GattSession;
  #taken: SeenNotification[] = [];
  #number = 0;

  constructor(desk: RadioDesk, device: SeenDevice, say: (text: string) => void) {
    this.#desk = desk;
    this.#device = device;
    this.#say = say;
  }

  async run(): Promise<ConformityEvidence> {
    this.#say('connecting; leave the sensor still on a table');
    this.#session = await this.#desk.connect(this.#device);
    const { characteristics } = this.#session;
    const hasControl = this.#has(control);
    let information = { firmwareRevision: null as string | null };
    let battery: Uint8Array | null = null;
    let reconnectProblem: string | null = null;
    try {
      const description = await this.#readDescription();
      await this.#readDescription();
      information = await readInformation(this.#session).catch(() => information);
      battery = await this.#session.read(standardCharacteristics.batteryPercent).catch(() => null);
      if (hasControl) await this.#before();
      await this.#stream('subscribing', firstStreamS, () => this.#subscribe());
      if (hasControl) await this.#whileStreaming(description);
      await this.#unsubscribe();
      if (hasControl) await this.#write('start-unsubscribed', { kind: 'start' });
      await this.#session.disconnect();
      reconnectProblem = await this.#reconnect();
    } finally {
      await this.#session.disconnect();
    }
    return {
      advertisement: { name: this.#device.name, serviceUuids: this.#device.serviceUuids },
      characteristics,
      descriptions: this.#descriptions,
      firmwareRevision: information.firmwareRevision,
      battery,
      starts: this.#starts,
      silences: this.#silences,
      answers: hasControl ? this.#answers : null,
      reconnectProblem,
    };
  }

  #has(place: CharacteristicRef & { readonly properties: readonly string[] }): boolean {
    return this.#session.characteristics.some(
      ({ service, characteristic, properties }) =>
        service === place.service &&
        characteristic === place.characteristic &&
        place.properties.every((property) => properties.includes(property)),
    );
  }

  async #readDescription(): Promise<SensorDescription | null> {
    const bytes = await this.#session.read(descriptionPlace).catch(() => null);
    this.#descriptions.push(bytes);
    try {
      return bytes && decodeSensorDescription(bytes);
    } catch {
      return null;
    }
  }

  async #subscribe(): Promise<void> {
    await this.#session.subscribe(stream, (bytes, hostTimeS) => this.#taken.push({ bytes, hostTimeS }));
  }

  /** Collects what comes after something that should start the stream. */
  async #stream(by: SeenStart['by'], durationS: number, begin: () => Promise<void>): Promise<void> {
    this.#say(`streaming for ${durationS} s after ${by}`);
    this.#taken = [];
    await begin().catch(() => {});
    await this.#desk.wait(durationS);
    this.#starts.push({ by, notifications: this.#taken });
    this.#taken = [];
  }

  async #silence(after: SeenSilence['after']): Promise<void> {
    await this.#desk.wait(settleS);
    this.#taken = [];
    await this.#desk.wait(silenceS);
    this.#silences.push({ after, notifications: this.#taken });
    this.#taken = [];
  }

  async #unsubscribe(): Promise<void> {
    try {
      await this.#session.unsubscribe(stream);
    } catch {
      // Where it cannot even be asked for, silence proves nothing.
      return;
    }
    await this.#silence('unsubscribing');
  }

  async #before(): Promise<void> {
    await this.#read('before-any', null, null);
  }

  async #whileStreaming(description: SensorDescription | null): Promise<void> {
    this.#say('trying requests');
    const rateHz = description?.accelRateHz ?? 100;
    await this.#write('set-rate-streaming', { kind: 'set-rate', rateHz });
    const good = encodeControlRequest({ kind: 'stop' }, this.#nextNumber());
    await this.#writeBytes('bad-checksum', good.with(good.length - 1, good.at(-1)! ^ 0x5a), null);
    await this.#writeBytes('unknown-version', this.#request(controlVersion + 1, 2), null);
    await this.#writeBytes('unknown-request', this.#request(controlVersion, 250), null);
    await this.#writeBytes('wrong-length', this.#request(controlVersion, 2, 0, 0), null);
    await this.#writeBytes('impossible-value', this.#request(controlVersion, 3, 0, 0, 0, 0), null);
    await this.#write('stop', { kind: 'stop' });
    await this.#silence('stop');
    await this.#write('stop-again', { kind: 'stop' });
    await this.#write('set-rate-idle', { kind: 'set-rate', rateHz });
    await this.#write('set-ranges-idle', {
      kind: 'set-ranges',
      accelRangeMps2: description?.accelRangeMps2 ?? null,
      gyroRangeRadps: description?.gyroRangeRadps ?? null,
    });
    await this.#write('set-placement', { kind: 'set-placement', placement: description?.placement ?? 'unspecified' });
    await this.#write('identify', { kind: 'identify', durationS: 1 });
    await this.#stream('request', laterStreamS, () => this.#write('start', { kind: 'start' }));
    await this.#write('start-again', { kind: 'start' });
  }

  async #reconnect(): Promise<string | null> {
    await this.#desk.wait(1);
    try {
      this.#session = await this.#desk.connect(this.#device);
    } catch (error) {
      return error instanceof Error ? error.message : String(error);
    }
    await this.#readDescription();
    await this.#stream('reconnecting', laterStreamS, () => this.#subscribe());
    return null;
  }

  #nextNumber(): number {
    this.#number = (this.#number % 255) + 1;
    return this.#number;
  }

  /** A request as no good encoder would write it, with a right checksum. */
  #request(version: number, code: number, ...values: number[]): Uint8Array<ArrayBuffer> {
    const bytes = Uint8Array.of(version, code, this.#nextNumber(), ...values, 0);
    bytes[bytes.length - 1] = crc8Register(bytes, 0, bytes.length - 1) ^ 0xff;
    return bytes;
  }

  async #write(trial: ControlTrial, request: ControlRequest): Promise<void> {
    await this.#writeBytes(trial, encodeControlRequest(request, this.#nextNumber()), request);
  }

  async #writeBytes(trial: ControlTrial, written: Uint8Array, request: ControlRequest | null): Promise<void> {
    try {
      await this.#session.write(control, written, { withResponse: true });
    } catch (error) {
      this.#answers.push({ trial, written, request, answer: null, problem: `the write failed: ${words(error)}` });
      return;
    }
    await this.#read(trial, written, request);
  }

  async #read(trial: ControlTrial, written: Uint8Array | null, request: ControlRequest | null): Promise<void> {
    try {
      const answer = await this.#session.read(control);
      this.#answers.push({ trial, written, request, answer, problem: null });
    } catch (error) {
      this.#answers.push({ trial, written, request, answer: null, problem: `reading failed: ${words(error)}` });
    }
  }
}

function words(error: unknown): string {
  return error instanceof RadioError || error instanceof Error ? error.message : String(error);
}
