import { Buffer } from 'node:buffer';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { BrowserSensors } from '../../src/devices/browser-sensors.ts';
import type { SensorStateEvent } from '../../src/devices/notification-source.ts';
import { parseFromPage } from '../../src/devices/page-messages.ts';
import type { FromPage, ToPage } from '../../src/foundation/page-feed.ts';
import { encodeControlAnswer } from '../../src/protocol/control-message.ts';
import { encodeSensorDescription } from '../../src/protocol/sensor-description.ts';
import { ballDescription } from '../protocol/made-frames.ts';
import { ManualClock } from './manual-clock.ts';

const description = Buffer.from(encodeSensorDescription(ballDescription)).toString('base64');
const { sensorId } = ballDescription;
/** The page's clock is this far off. */
const pageAheadS = 7;

function packet(slot: number, hostTimeS: number, bytes: readonly number[]): Uint8Array {
  const whole = new Uint8Array(9 + bytes.length);
  whole[0] = slot;
  new DataView(whole.buffer).setFloat64(1, 1000 * (hostTimeS + pageAheadS), true);
  whole.set(bytes, 9);
  return whole;
}

function bench() {
  const clock = new ManualClock(1000);
  const source = new BrowserSensors({ clock });
  const states: SensorStateEvent[] = [];
  const packets: { readonly bytes: Uint8Array; readonly hostTimeS: number }[] = [];
  const providers: string[] = [];
  source.states.subscribe((event) => states.push(event));
  source.notifications.subscribe((notification) => packets.push(notification));
  source.providerStates.subscribe(({ state }) => providers.push(state));
  const openPage = () => {
    const told: ToPage[] = [];
    const feed = source.connectPage((text) => {
      const message = JSON.parse(text) as ToPage;
      told.push(message);
      if (message.kind !== 'time') return;
      // Answered later, as over a socket.
      queueMicrotask(() => say({ kind: 'time', number: message.number, pageMs: 1000 * (clock.nowS() + pageAheadS) }));
    });
    const say = (message: FromPage): string | null => feed.takeText(JSON.stringify(message));
    return { told, feed, say };
  };
  return { clock, source, states, packets, providers, openPage };
}

const opened: FromPage = { kind: 'opened', slot: 3, name: 'IMU-0001', description, canIdentify: true };

describe('sensors of a page', () => {
  test('stream with the page’s receive times on the host’s clock; a loss and a return are told', async () => {
    const { clock, source, states, packets, providers, openPage } = bench();
    source.open('any');
    const { say, feed } = openPage();
    await Promise.resolve();
    expect(say(opened)).toBeNull();
    clock.advance(2);
    expect(feed.takePacket(packet(3, 1001.5, [1, 2]))).toBeNull();
    expect(packets).toEqual([{ sensorId, bytes: Uint8Array.of(1, 2), hostTimeS: expect.closeTo(1001.5, 6) }]);
    expect(states.map(({ state }) => state)).toEqual(['connecting', 'streaming']);
    expect(states[1]?.description).toEqual(encodeSensorDescription(ballDescription));
    clock.advance(1.5);
    expect(states.at(-1)?.state).toBe('quiet');
    say({ kind: 'lost', slot: 3, why: 'the connection ended' });
    expect(states.at(-1)).toMatchObject({ state: 'lost', detail: 'the connection ended' });
    clock.advance(4);
    say(opened);
    feed.takePacket(packet(3, 1007.5, [3]));
    expect(states.at(-1)).toMatchObject({ state: 'streaming', description: null, silentS: expect.closeTo(6, 6) });
    feed.close();
    expect(states.at(-1)).toMatchObject({ state: 'lost', detail: 'the page that held the sensor was closed' });
    expect(providers).toEqual(['unavailable', 'searching', 'ready', 'searching', 'ready', 'unavailable']);
  });

  test('a page that comes back before it is known which sensors are wanted keeps what it holds', async () => {
    const { source, states, openPage } = bench();
    const early = openPage();
    await Promise.resolve();
    // What a page holds it tells when it is welcomed.
    expect(early.told).toEqual([]);
    source.open('any');
    await Promise.resolve();
    expect(early.told[0]).toMatchObject({ kind: 'welcome' });
    early.say(opened);
    expect(states.map(({ state }) => state)).toEqual(['connecting']);
    expect(early.told.some(({ kind }) => kind === 'refused')).toBe(false);
  });

  test('a time that cannot be is not believed', async () => {
    const { clock, source, packets, openPage } = bench();
    source.open('any');
    const { say, feed } = openPage();
    await Promise.resolve();
    say(opened);
    for (const odd of [Number.NaN, 0, 1e12, -5]) feed.takePacket(packet(3, odd, [1]));
    expect(packets.map(({ hostTimeS }) => hostTimeS)).toEqual([1000, 1000, 1000, 1000].map(() => clock.nowS()));
  });

  test('only what is wanted is taken, and each once', () => {
    const { source, states, openPage } = bench();
    source.open(['f00d'.repeat(8)]);
    expect(states.map(({ state, remedy }) => [state, remedy?.includes('Connect a sensor')])).toEqual([
      ['searching', true],
    ]);
    const one = openPage();
    one.say(opened);
    expect(one.told.at(-1)).toMatchObject({ kind: 'refused', slot: 3 });
    source.open('any');
    one.say(opened);
    const other = openPage();
    other.say({ ...opened, slot: 0 });
    expect(other.told.at(-1)).toMatchObject({ kind: 'refused', slot: 0, why: expect.stringContaining('another page') });
    one.say({ ...opened, slot: 1, description: 'AAAA' });
    expect(one.told.at(-1)).toMatchObject({ kind: 'refused', slot: 1 });
    expect(states.filter(({ state }) => state === 'connecting')).toHaveLength(1);
  });

  test('a sensor is made to blink through the page', async () => {
    const { clock, source, openPage } = bench();
    source.open('any');
    await expect(source.identify(sensorId)).rejects.toMatchObject({ code: 'sensor-not-connected' });
    const { say, told } = openPage();
    say(opened);
    const blinking = source.identify(sensorId);
    const request = told.find((message) => message.kind === 'control');
    const { accelRateHz: rateHz, accelRangeMps2, gyroRangeRadps, placement } = ballDescription;
    const answer = encodeControlAnswer({
      ...{ requestCode: 6, requestNumber: 1, status: 'done', state: 'streaming' },
      ...{ rateHz, accelRangeMps2, gyroRangeRadps, placement },
    });
    say({ kind: 'answer', call: request?.call ?? 0, bytes: Buffer.from(answer).toString('base64'), problem: null });
    await blinking;
    const mute = source.identify(sensorId);
    clock.advance(6);
    await expect(mute).rejects.toMatchObject({ message: expect.stringContaining('no answer within 5 s') });
  });

  test('what a page says may be anything: it is taken or refused, never thrown at', () => {
    const { source, openPage } = bench();
    source.open('any');
    const { feed } = openPage();
    const kinds = fc.constantFrom(
      'time',
      'opened',
      'information',
      'lost',
      'answer',
      'connecting',
      'unavailable',
      '__proto__',
    );
    const fields = fc.dictionary(
      fc.constantFrom('slot', 'name', 'description', 'values', 'why', 'call', 'bytes'),
      fc.jsonValue(),
    );
    fc.assert(
      fc.property(
        fc.oneof(
          fc.string(),
          fc.json(),
          fc.record({ kind: kinds, fields }).map(({ kind, fields: more }) => JSON.stringify({ kind, ...more })),
        ),
        (text) => {
          const problem = feed.takeText(text);
          expect(problem === null || parseFromPage(text) === null).toBe(true);
        },
      ),
      { numRuns: 500 },
    );
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 300 }), (bytes) => void feed.takePacket(bytes)),
      { numRuns: 200 },
    );
  });
});
