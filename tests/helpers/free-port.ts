import { existsSync, readFileSync } from 'node:fs';
import net from 'node:net';

const least = 10_000;
const rangeFile = '/proc/sys/net/ipv4/ip_local_port_range';

/**
 * @returns a port of this machine that nobody listens on, out of those that the system gives to nobody by itself: it is still free when a
 * server that takes a while to start, or comes back, wants it.
 */
export async function freePort(): Promise<number> {
  const givenOutFrom = existsSync(rangeFile) ? Number.parseInt(readFileSync(rangeFile, 'utf8'), 10) : 32_768;
  for (let time = 0; time < 100 && givenOutFrom > least; time++) {
    const port = least + Math.floor(Math.random() * (givenOutFrom - least));
    if (await isFree(port)) return port;
  }
  throw new Error(`no free port was found between ${least} and ${givenOutFrom}`);
}

function isFree(port: number): Promise<boolean> {
  return new Promise((resolve) => {
    const server = net.createServer();
    server.once('error', () => resolve(false));
    server.listen(port, '127.0.0.1', () => server.close(() => resolve(true)));
  });
}
