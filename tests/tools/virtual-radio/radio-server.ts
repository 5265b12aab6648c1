import { mkdtempSync, rmSync } from 'node:fs';
import net from 'node:net';
import os from 'node:os';
import path from 'node:path';
import process from 'node:process';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { FrameReader, frame, frameKind } from './radio-frames.ts';
import { nobleFolder } from './test-noble.ts';
import type { VirtualController } from './virtual-controller.ts';

/** As many packets as a Linux socket holds for a host that does not read, about. */
const hostQueuePackets = 166;

export interface RadioServer {
  /** Arguments of Node for the child: its noble then reaches this controller. */
  readonly execArgv: readonly string[];
  /** Packets that were lost because the host did not read. */
  lostPackets(): number;
  /** Sends bytes to the host as they are. */
  inject(packet: Uint8Array): void;
  close(): Promise<void>;
}

/**
 * Holds a controller for a host in another process. The air goes on while that process is frozen or gone; what it does
 * not read is lost, as with a kernel's socket.
 */
export async function serveRadio(
  controller: VirtualController,
  options: { readonly delivery?: 'one' | 'batch'; readonly error?: string; readonly moduleName?: string } = {},
): Promise<RadioServer> {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-radio-'));
  const address = process.platform === 'win32' ? `\\\\.\\pipe\\${path.basename(folder)}` : path.join(folder, 'hci');
  let host: net.Socket | null = null;
  let waiting = 0;
  let lost = 0;
  const toHost = (packet: Uint8Array): void => {
    if (host === null) return;
    if (waiting >= hostQueuePackets) {
      lost += 1;
      return;
    }
    waiting += 1;
    host.write(frame(frameKind.packet, packet));
  };
  controller.toHost = toHost;
  const server = net.createServer((socket) => {
    host?.destroy();
    host = socket;
    waiting = 0;
    socket.write(frame(frameKind.up, Uint8Array.of(controller.up ? 1 : 0)));
    const reader = new FrameReader((kind, bytes) => {
      if (kind === frameKind.read) waiting -= 1;
      else if (socket === host) controller.receive(Uint8Array.from(bytes));
    });
    socket.on('data', (bytes) => reader.push(bytes));
    socket.on('error', () => {});
    socket.on('close', () => {
      if (socket !== host) return;
      host = null;
      controller.hostLost();
    });
  });
  controller.onUp = (up) => host?.write(frame(frameKind.up, Uint8Array.of(up ? 1 : 0)));
  await new Promise<void>((resolve) => server.listen(address, resolve));
  const { delivery = 'one', error = '', moduleName = '@abandonware/noble' } = options;
  const words = new URLSearchParams({
    ...{ address, delivery, error, moduleName },
    folder: nobleFolder(moduleName as '@abandonware/noble') ?? '',
  });
  const preload = fileURLToPath(new URL('./child-preload.mjs', import.meta.url));
  return {
    execArgv: ['--import', `${pathToFileURL(preload)}?${words}`],
    lostPackets: () => lost,
    inject: toHost,
    async close() {
      host?.destroy();
      await new Promise<void>((resolve) => server.close(() => resolve()));
      rmSync(folder, { recursive: true, force: true });
    },
  };
}
