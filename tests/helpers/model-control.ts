import {
  type ControlAnswer,
  type ControlRequest,
  type ControlStatus,
  decodeControlRequest,
  encodeControlAnswer,
} from '../../src/protocol/control-message.ts';
import type { Placement } from '../../src/protocol/sensor-description.ts';

/** Settings in the numbers of the wire. */
export interface WireSettings {
  readonly rateMilliHz: number;
  readonly accelRangeMilliG: number;
  readonly gyroRangeMilliDps: number;
  readonly placement: Placement;
}

export interface WireOffer {
  readonly ratesMilliHz: readonly number[];
  readonly accelRangesMilliG: readonly number[];
  readonly gyroRangesMilliDps: readonly number[];
}

/** What the hardware is asked to do; false is a refusal. */
export interface ControlPort {
  apply(settings: WireSettings): boolean;
  rememberPlacement(placement: Placement): boolean;
  start(startNumber: number): boolean;
  stop(): void;
  identify(durationS: number): boolean;
}

const milliG = 1e3 / 9.80665;
const milliDps = 1e3 * (180 / Math.PI);

/** The sensor's side of control in TypeScript: states and requests as firmware-protocol/gatt.md says. */
export class ModelControl {
  settings: WireSettings;
  streaming = false;
  readonly #offer: WireOffer;
  readonly #port: ControlPort;
  #connected = false;
  #subscribed = false;
  #nextStart: number;
  #answered: Pick<ControlAnswer, 'requestCode' | 'requestNumber' | 'status'> = noRequest;

  constructor(settings: WireSettings, offer: WireOffer, port: ControlPort, firstStartNumber: number) {
    this.settings = settings;
    this.#offer = offer;
    this.#port = port;
    this.#nextStart = firstStartNumber;
  }

  connect(): void {
    this.#connected = true;
    this.#answered = noRequest;
  }

  disconnect(): void {
    this.#stop();
    this.#connected = false;
    this.#subscribed = false;
  }

  subscribe(on: boolean): void {
    if (!this.#connected) return;
    const fresh = on && !this.#subscribed;
    this.#subscribed = on;
    if (!on) this.#stop();
    else if (fresh) this.#start();
  }

  write(bytes: Uint8Array): void {
    if (!this.#connected) return;
    const decoded = decodeControlRequest(bytes);
    const status = decoded.kind === 'refused' ? decoded.status : this.#handle(decoded.request);
    this.#answered = { requestCode: bytes[1] ?? null, requestNumber: bytes[2] ?? 0, status };
  }

  read(): Uint8Array {
    const { rateMilliHz, accelRangeMilliG, gyroRangeMilliDps, placement } = this.settings;
    return encodeControlAnswer({
      ...this.#answered,
      state: this.streaming ? 'streaming' : 'idle',
      placement,
      rateHz: rateMilliHz / 1e3,
      accelRangeMps2: accelRangeMilliG / milliG,
      gyroRangeRadps: gyroRangeMilliDps === 0 ? null : gyroRangeMilliDps / milliDps,
    });
  }

  #start(): boolean {
    if (this.streaming) return true;
    if (!this.#port.start(this.#nextStart)) return false;
    this.#nextStart = (this.#nextStart + 1) % 256;
    this.streaming = true;
    return true;
  }

  #stop(): void {
    if (this.streaming) this.#port.stop();
    this.streaming = false;
  }

  #handle(request: ControlRequest): ControlStatus {
    switch (request.kind) {
      case 'start':
        if (!this.#subscribed) return 'wrong-state';
        return this.#start() ? 'done' : 'failed';
      case 'stop':
        this.#stop();
        return 'done';
      case 'set-rate':
        return this.#setRate(Math.round(request.rateHz * 1e3));
      case 'set-ranges': {
        const accel = request.accelRangeMps2 === null ? 0 : Math.round(request.accelRangeMps2 * milliG);
        const gyro = request.gyroRangeRadps === null ? 0 : Math.round(request.gyroRangeRadps * milliDps);
        return this.#setRanges(accel, gyro);
      }
      case 'set-placement':
        if (!this.#port.rememberPlacement(request.placement)) return 'failed';
        this.settings = { ...this.settings, placement: request.placement };
        return 'done';
      case 'identify':
        return this.#port.identify(request.durationS) ? 'done' : 'failed';
    }
  }

  #setRate(wanted: number): ControlStatus {
    if (this.streaming) return 'wrong-state';
    const least = wanted - Math.floor(wanted / 50);
    const rateMilliHz = this.#offer.ratesMilliHz.find((rate) => rate >= least);
    return rateMilliHz === undefined ? 'impossible-value' : this.#apply({ ...this.settings, rateMilliHz });
  }

  #setRanges(accel: number, gyro: number): ControlStatus {
    if (this.streaming) return 'wrong-state';
    const { accelRangesMilliG, gyroRangesMilliDps } = this.#offer;
    const accelRangeMilliG = accel === 0 ? this.settings.accelRangeMilliG : accelRangesMilliG.find((r) => r >= accel);
    const gyroRangeMilliDps = gyro === 0 ? this.settings.gyroRangeMilliDps : gyroRangesMilliDps.find((r) => r >= gyro);
    if (accelRangeMilliG === undefined || gyroRangeMilliDps === undefined) return 'impossible-value';
    return this.#apply({ ...this.settings, accelRangeMilliG, gyroRangeMilliDps });
  }

  #apply(settings: WireSettings): ControlStatus {
    if (!this.#port.apply(settings)) return 'failed';
    this.settings = settings;
    return 'done';
  }
}

const noRequest = { requestCode: null, requestNumber: 0, status: 'done' } as const;
