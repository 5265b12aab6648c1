/** Makes `require('@abandonware/bluetooth-hci-socket')` give the fake. */
import Module from 'node:module';
import { FakeHciSocket } from './fake-hci-socket.ts';

const replaced = new Set(['@abandonware/bluetooth-hci-socket', '@stoprocent/bluetooth-hci-socket']);
type Load = (request: string, ...more: unknown[]) => unknown;

let installed = false;

/** @param elsewhere folders of packages that are to be taken from there. */
export function replaceHciSocket(elsewhere: Readonly<Record<string, string>> = {}): void {
  if (installed) return;
  installed = true;
  const loader = Module as unknown as { _load: Load };
  const load = loader._load;
  const loadDriver = (): typeof FakeHciSocket => FakeHciSocket;
  loader._load = function (this: unknown, request: string, ...more: unknown[]) {
    if (replaced.has(request)) return Object.assign(FakeHciSocket, { loadDriver });
    return load.call(this, elsewhere[request] ?? request, ...more);
  };
}
