import { beforeEach, describe, expect, test } from 'vitest';
import { LatestSender } from '../../src/server/latest-sender.ts';

describe('the way to a page for documents of which the last one counts', () => {
  let sent: string[];
  let taken: (() => void)[];
  let nowS: number;
  let wasCut: boolean;
  let sender: LatestSender;
  const socket = {
    bufferedAmount: 0,
    send(text: string, done: (error?: Error | null) => void) {
      sent.push(text);
      socket.bufferedAmount += text.length;
      taken.push(() => {
        socket.bufferedAmount -= text.length;
        done();
      });
    },
    terminate() {
      wasCut = true;
    },
  };
  const document = (name: string): string => name.padEnd(20_000, '.');
  const names = (): string[] => sent.map((text) => text.replaceAll('.', ''));

  beforeEach(() => {
    [sent, taken, nowS, wasCut] = [[], [], 100, false];
    socket.bufferedAmount = 0;
    sender = new LatestSender(socket, () => nowS);
  });

  test('sends what comes while there is room', () => {
    sender.send(document('a'));
    sender.send(document('b'));
    expect(names()).toEqual(['a', 'b']);
  });

  test('holds back the last one alone while the page takes nothing, and sends it when there is room', () => {
    for (let i = 0; i < 10_000; i++) sender.send(document(String(i)));
    expect(socket.bufferedAmount).toBeLessThan(60_000);
    expect(names()).toEqual(['0', '1']);
    taken.shift()?.();
    expect(names()).toEqual(['0', '1', '9999']);
    for (const take of taken.splice(0)) take();
    expect(names()).toEqual(['0', '1', '9999']);
  });

  test('cuts off a page that takes nothing for half a minute, not one that is slow', () => {
    for (const name of ['a', 'b', 'c']) sender.send(document(name));
    nowS += 29;
    sender.send(document('d'));
    expect(wasCut).toBe(false);
    taken.shift()?.();
    nowS += 29;
    sender.send(document('e'));
    expect(wasCut).toBe(false);
    nowS += 30;
    sender.send(document('f'));
    expect(wasCut).toBe(true);
  });
});
