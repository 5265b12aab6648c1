import { NobleRadio, type RadioTimes } from '../../../src/devices/bluetooth/noble-radio.ts';
import { systemClock } from '../../../src/devices/system-clock.ts';
import { plugIn } from '../../tools/virtual-radio/fake-hci-socket.ts';
import { loadTestNoble, nobleFolder } from '../../tools/virtual-radio/test-noble.ts';
import type { VirtualController } from '../../tools/virtual-radio/virtual-controller.ts';

/** Noble's folder, or null where its JavaScript cannot be had; tests then say that they were skipped. */
export const folder = nobleFolder();

export interface InProcess {
  readonly radio: NobleRadio;
  /** What the radio said can only be helped by a new process. */
  readonly broken: string[];
}

/** @returns a radio in this process whose noble talks to the controller. */
export function radioOver(
  controller: VirtualController,
  times: Partial<RadioTimes> = {},
  delivery: 'one' | 'batch' = 'one',
  error: Error | null = null,
): InProcess {
  plugIn({
    write: (packet) => controller.receive(packet),
    isUp: () => controller.up,
    attach(receive) {
      controller.toHost = (packet) => receive(Buffer.from(packet));
    },
    delivery,
    error,
  });
  const broken: string[] = [];
  const radio = new NobleRadio({
    load: () => loadTestNoble(folder!),
    around: { platform: 'linux', execPath: '/usr/bin/node', moduleName: '@abandonware/noble' },
    nowS: () => systemClock.nowS(),
    broken: (why) => broken.push(why),
    times,
  });
  return { radio, broken };
}
