import { ChildRadio, type ChildRadioOptions } from '../../../src/devices/bluetooth/child-radio.ts';
import { ownProtocolKind } from '../../../src/devices/own-protocol-kind.ts';
import { RadioSensors } from '../../../src/devices/radio-sensors.ts';
import type { RadioSensorsTimes } from '../../../src/devices/radio-sensors-records.ts';
import { systemClock } from '../../../src/devices/system-clock.ts';
import { plainStream } from '../../protocol/made-frames.ts';
import { type RadioServer, serveRadio } from '../../tools/virtual-radio/radio-server.ts';
import { VirtualController } from '../../tools/virtual-radio/virtual-controller.ts';
import { VirtualSensor, type VirtualSensorOptions } from '../../tools/virtual-radio/virtual-sensor.ts';
import { type Watched, watch } from './watched.ts';

export interface ChildAir {
  readonly controller: VirtualController;
  readonly sensors: readonly VirtualSensor[];
  readonly server: RadioServer;
  readonly radio: ChildRadio;
  readonly provider: RadioSensors;
  readonly seen: Watched;
  /** What was logged as a warning. */
  readonly warnings: string[];
  close(): Promise<void>;
}

export interface ChildAirOptions extends Partial<ChildRadioOptions> {
  readonly sensors: readonly VirtualSensorOptions[];
  readonly delivery?: 'one' | 'batch';
  /** Code of the error that the adapter's socket has, such as EPERM. */
  readonly error?: string;
  readonly aclBytes?: number;
  /** Sensors that stream a made stream in real time; else they send what the test sends. */
  readonly streaming?: boolean;
  /** How long a sensor may be silent. */
  readonly sensorTimes?: Partial<RadioSensorsTimes>;
}

/** A provider whose radio lives in a child process, in an air that this process keeps up. */
export async function childAir(options: ChildAirOptions): Promise<ChildAir> {
  const {
    sensors: made,
    delivery = 'one',
    error = '',
    aclBytes = 251,
    streaming = true,
    sensorTimes,
    ...radioOptions
  } = options;
  const controller = new VirtualController({ aclBytes });
  const sensors = made.map((option) => new VirtualSensor(option));
  if (streaming) for (const sensor of sensors) sensor.streamInRealTime({ ...plainStream, rows: 5 }, 500);
  controller.add(...sensors.map(({ peripheral }) => peripheral));
  const { moduleName = '@abandonware/noble' } = radioOptions;
  const server = await serveRadio(controller, { delivery, error, moduleName });
  const warnings: string[] = [];
  const warn = (fields: object, message: string): void => void warnings.push(`${message} ${JSON.stringify(fields)}`);
  const radio = new ChildRadio({
    clock: systemClock,
    logger: { info() {}, warn, error: warn },
    execArgv: server.execArgv,
    ...radioOptions,
  });
  const provider = new RadioSensors({
    ...{ kind: 'bluetooth', radio, clock: systemClock, kinds: [ownProtocolKind] },
    ...(sensorTimes && { times: sensorTimes }),
  });
  const seen = watch(provider);
  return {
    ...{ controller, sensors, server, radio, provider, seen, warnings },
    async close() {
      for (const sensor of sensors) sensor.stop();
      await provider.close();
      await server.close();
    },
  };
}
