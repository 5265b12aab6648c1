import { describe, expect, it } from 'vitest';
import { SeamwiseError } from '../../../src/foundation/errors.ts';
import type { Logger } from '../../../src/foundation/logger.ts';
import { StoreQueue } from '../../../src/server/practice/store-queue.ts';

function open(change: { retryMs?: number; mostWaiting?: number } = {}) {
  const told: string[] = [];
  const tell: Logger['info'] = (_about, message) => void told.push(message);
  const logger = { debug: tell, info: tell, warn: tell, error: tell } as unknown as Logger;
  const queue = new StoreQueue({ logger, retryMs: 20, ...change });
  const disk = { isFull: false };
  const written: number[] = [];
  const write = (number: number) =>
    queue.run(async () => {
      if (disk.isFull) throw new Error('database or disk is full');
      written.push(number);
    });
  return { queue, disk, written, write, told };
}

describe('the queue before the database', () => {
  it('says at once that a write is done, and waits in order while the disk takes nothing', async () => {
    const { queue, disk, written, write, told } = open();
    expect(await write(1)).toBe(true);
    disk.isFull = true;
    expect(await Promise.all([write(2), write(3)])).toEqual([false, false]);
    expect(queue.failure).toContain('database or disk is full. 2 wait in memory; free the disk');
    disk.isFull = false;
    await expect.poll(() => written).toEqual([1, 2, 3]);
    expect(await write(4)).toBe(true);
    expect(written).toEqual([1, 2, 3, 4]);
    expect(queue.failure).toBeNull();
    expect(told.filter((text) => text.startsWith('shots cannot be stored'))).toHaveLength(1);
    expect(told.filter((text) => text === 'shots are stored again')).toHaveLength(1);
    await queue.close();
  });

  it('does not let a later write overtake one that waits', async () => {
    const { queue, disk, written, write } = open({ retryMs: 1e6 });
    disk.isFull = true;
    await write(1);
    disk.isFull = false;
    expect(await write(2)).toBe(false);
    expect(written).toEqual([]);
    await queue.close();
    expect(written).toEqual([1, 2]);
  });

  it('gives up what no disk could take, and goes on', async () => {
    const { queue, written, write, told } = open();
    const refused = async () => {
      throw new SeamwiseError('store-missing', 'there is no session');
    };
    expect(await queue.run(refused)).toBe(true);
    expect(await write(1)).toBe(true);
    expect(written).toEqual([1]);
    expect(told).toContain('something could not be stored');
    expect(queue.failure).toBe('1 shots could not be stored');
    await queue.close();
  });

  it('counts what it has no room for, and says at the end what is lost', async () => {
    const { queue, disk, write, told } = open({ mostWaiting: 2 });
    disk.isFull = true;
    for (const number of [1, 2, 3]) await write(number);
    expect(queue.failure).toContain('2 wait in memory, 1 are lost');
    await queue.close();
    expect(told.at(-1)).toBe('shots could not be stored and are lost');
  });
});
