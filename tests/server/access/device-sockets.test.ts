import { expect, test } from 'vitest';
import { DeviceSockets } from '../../../src/server/access/device-sockets.ts';

function socket() {
  const codes: number[] = [];
  return { codes, close: (code: number) => void codes.push(code) };
}

test('all that a removed device holds open ends, and nothing of others', () => {
  const sockets = new DeviceSockets();
  const [live, feed, other, host] = [socket(), socket(), socket(), socket()];
  sockets.add({ id: 'a' }, live);
  sockets.add({ id: 'a' }, feed);
  sockets.add({ id: 'b' }, other);
  sockets.add(null, host);
  sockets.closeAll('a');
  expect([live.codes, feed.codes, other.codes, host.codes]).toEqual([[4401], [4401], [], []]);
});

test('what has closed by itself is forgotten', () => {
  const sockets = new DeviceSockets();
  const [gone, stays] = [socket(), socket()];
  const forget = sockets.add({ id: 'a' }, gone);
  sockets.add({ id: 'a' }, stays);
  forget();
  sockets.closeAll('a');
  expect([gone.codes, stays.codes]).toEqual([[], [4401]]);
});
