import net from 'node:net';
import { plugIn } from './fake-hci-socket.ts';
import { FrameReader, frame, frameKind } from './radio-frames.ts';
import { replaceHciSocket } from './replace-hci-socket.ts';

export interface RemoteWords {
  readonly address?: string;
  readonly delivery?: string;
  readonly error?: string;
  readonly moduleName?: string;
  readonly folder?: string;
}

/** Lets the fake socket of this process reach a controller in another one. */
export function plugInRemote({ address = '', delivery, error = '', moduleName = '', folder = '' }: RemoteWords): void {
  let up = true;
  let receive: (packet: Buffer) => void = () => {};
  const socket = net.connect(address);
  socket.unref();
  socket.on('error', () => {});
  const reader = new FrameReader((kind, bytes) => {
    if (kind === frameKind.up) up = bytes[0] === 1;
    else receive(bytes);
  });
  socket.on('data', (bytes) => reader.push(bytes));
  plugIn({
    write: (packet) => void socket.write(frame(frameKind.packet, packet)),
    isUp: () => up,
    attach(take) {
      receive = (packet) => {
        socket.write(frame(frameKind.read, new Uint8Array()));
        take(packet);
      };
    },
    delivery: delivery === 'batch' ? 'batch' : 'one',
    error: error === '' ? null : Object.assign(new Error(error), { code: error }),
  });
  replaceHciSocket(folder === '' ? {} : { [moduleName]: folder });
}
