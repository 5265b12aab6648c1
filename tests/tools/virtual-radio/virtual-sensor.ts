import {
  type ControlAnswer,
  decodeControlRequest,
  encodeControlAnswer,
} from '../../../src/protocol/control-message.ts';
import {
  sensorCharacteristics,
  sensorServiceUuid,
  standardCharacteristics,
} from '../../../src/protocol/gatt-layout.ts';
import { encodeNotification } from '../../../src/protocol/notification.ts';
import { encodeSensorDescription, type SensorDescription } from '../../../src/protocol/sensor-description.ts';
import { ballDescription, type StreamShape, streamFrame } from '../../protocol/made-frames.ts';
import type { VirtualService } from './virtual-gatt.ts';
import { VirtualPeripheral } from './virtual-peripheral.ts';

export interface VirtualSensorOptions {
  /** 0–255; gives address, sensor id and name. */
  readonly number: number;
  readonly mtu?: number;
  readonly description?: Partial<SensorDescription>;
  readonly batteryPercent?: number | null;
  /** Changes the services before the sensor is made. */
  readonly services?: (services: readonly VirtualService[]) => readonly VirtualService[];
}

/** A sensor that speaks the project's own protocol, in the virtual air. It sends what it is told to, once subscribed. */
export class VirtualSensor {
  readonly sensorId: string;
  readonly description: SensorDescription;
  descriptionBytes: Uint8Array;
  readonly peripheral: VirtualPeripheral;
  batteryPercent: number;
  identifyCount = 0;
  startCount = 0;
  /** Told when the stream starts or stops. */
  onStream: (on: boolean) => void = () => {};
  #answer: ControlAnswer;
  #timer: NodeJS.Timeout | undefined;

  constructor(options: VirtualSensorOptions) {
    const { number, mtu = 247, batteryPercent = 87, services = (all) => all } = options;
    const hex = number.toString(16).padStart(2, '0');
    this.sensorId = hex.repeat(16);
    this.description = { ...ballDescription, ...options.description, sensorId: this.sensorId };
    this.descriptionBytes = encodeSensorDescription(this.description);
    this.batteryPercent = batteryPercent ?? 0;
    const { accelRateHz, accelRangeMps2, gyroRangeRadps, placement } = this.description;
    this.#answer = {
      ...{ requestCode: null, requestNumber: 0, status: 'done', state: 'idle', placement },
      ...{ rateHz: accelRateHz, accelRangeMps2, gyroRangeRadps },
    };
    this.peripheral = new VirtualPeripheral({
      address: `c0:00:00:00:00:${hex}`,
      name: `IMU-00${hex.toUpperCase()}`,
      mtu,
      services: services(this.#services(batteryPercent !== null)),
    });
  }

  /** @returns false when nobody listens. */
  send(bytes: Uint8Array): boolean {
    return this.peripheral.notify(sensorCharacteristics.stream.characteristic, bytes);
  }

  /**
   * Sends a made stream in real time while somebody listens, as a sensor does: each start with its own start number,
   * ticks that run on. A packet that falls due while nobody listens is never taken.
   */
  streamInRealTime(shape: StreamShape, rowsPerSecond: number): void {
    const packetS = shape.rows / rowsPerSecond;
    let startNumber = shape.startNumber;
    const bootS = performance.now() / 1000;
    this.onStream = (on) => {
      clearInterval(this.#timer);
      if (!on) return;
      startNumber = (startNumber + 1) % 256;
      const startS = performance.now() / 1000;
      const firstTick = Math.round((startS - bootS) * shape.ticksPerRow * rowsPerSecond);
      const own = { ...shape, startNumber, firstTick };
      let at = 0;
      this.#timer = setInterval(() => {
        while (startS + (at + 1) * packetS <= performance.now() / 1000) {
          this.send(encodeNotification(streamFrame(own, at)));
          at += 1;
        }
      }, 5);
    };
  }

  stop(): void {
    clearInterval(this.#timer);
    this.onStream = () => {};
  }

  #services(hasBattery: boolean): VirtualService[] {
    const { stream, description, control } = sensorCharacteristics;
    const { batteryPercent, manufacturer, model, firmwareRevision } = standardCharacteristics;
    const text = (value: string) => () => new TextEncoder().encode(value);
    const { major, minor, patch } = this.description.firmwareVersion;
    const own: VirtualService = {
      uuid: sensorServiceUuid,
      characteristics: [
        {
          uuid: stream.characteristic,
          properties: ['notify'],
          subscribed: (on) => {
            if (on) this.startCount += 1;
            this.#answer = { ...this.#answer, state: on ? 'streaming' : 'idle' };
            this.onStream(on);
          },
        },
        { uuid: description.characteristic, properties: ['read'], read: () => this.descriptionBytes },
        {
          uuid: control.characteristic,
          properties: ['read', 'write'],
          read: () => encodeControlAnswer(this.#answer),
          write: (bytes) => this.#control(bytes),
        },
      ],
    };
    const information: VirtualService = {
      uuid: '180a',
      characteristics: [
        { uuid: manufacturer.characteristic, properties: ['read'], read: text('home-made') },
        { uuid: model.characteristic, properties: ['read'], read: text('ball, 833 Hz') },
        { uuid: firmwareRevision.characteristic, properties: ['read'], read: text(`${major}.${minor}.${patch}`) },
      ],
    };
    const battery: VirtualService = {
      uuid: '180f',
      characteristics: [
        {
          uuid: batteryPercent.characteristic,
          properties: ['read', 'notify'],
          read: () => Uint8Array.of(this.batteryPercent),
        },
      ],
    };
    return hasBattery ? [information, battery, own] : [information, own];
  }

  #control(bytes: Uint8Array): void {
    const decoded = decodeControlRequest(bytes);
    const { requestNumber } = decoded;
    if (decoded.kind === 'refused') {
      this.#answer = { ...this.#answer, requestCode: decoded.requestCode, requestNumber, status: decoded.status };
      return;
    }
    if (decoded.request.kind === 'identify') this.identifyCount += 1;
    this.#answer = { ...this.#answer, requestCode: bytes[1] ?? null, requestNumber, status: 'done' };
  }
}
