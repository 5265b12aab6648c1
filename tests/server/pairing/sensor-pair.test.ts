import { beforeEach, describe, expect, it } from 'vitest';
import { measured } from '../../../src/foundation/measured.ts';
import { encodeSensorDescription } from '../../../src/protocol/sensor-description.ts';
import type { PublishedEvent } from '../../../src/server/live-hub.ts';
import { SensorPair } from '../../../src/server/pairing/sensor-pair.ts';
import { sameClock } from '../../../src/shots/merge/host-line.ts';
import type { Shot } from '../../../src/shots/shot.ts';
import { ballDescription } from '../../protocol/made-frames.ts';
import { madeShot } from '../made-shots.ts';

const ballBytes = encodeSensorDescription(ballDescription);
const wristBytes = encodeSensorDescription({ ...ballDescription, placement: 'wrist-forearm' });
let pair: SensorPair;

const change = (sensorId: string, description: Uint8Array | null, state: 'streaming' | 'ended' = 'streaming') =>
  pair.takeState({ sensorId, state, hostTimeS: 1, description, detail: null });

const event = (sensorId: string, shot: Shot, hostTimeS: number): PublishedEvent => ({
  sensorId,
  streamIndex: 2,
  hostTimeS,
  event: { kind: 'shot', shot },
});

/** What an arm would say of the shot at `madeShot(index)`. */
function armShot(index: number): Shot {
  const shot = madeShot(index);
  return { ...shot, measures: { ...shot.measures, snapPeakDegps: measured(900, 20) } };
}

beforeEach(() => {
  pair = new SensorPair(() => sameClock);
});

describe('one ball and one arm sensor', () => {
  beforeEach(() => {
    change('ball', ballBytes);
    change('arm', wristBytes);
  });

  it('make one record of a shot that both saw, under the ball, with the numbers of both', () => {
    expect(pair.take(event('ball', madeShot(1, 'early'), 18.3))).toHaveLength(1);
    expect(pair.take(event('arm', { ...armShot(1), index: 7, stage: 'early' }, 18.3))).toEqual([]);
    expect(pair.take(event('ball', madeShot(1), 19.4))).toEqual([]);
    const [told, ...more] = pair.take(event('arm', { ...armShot(1), index: 7 }, 20));
    expect(more).toEqual([]);
    expect(told).toMatchObject({
      sensorId: 'ball',
      streamIndex: 2,
      event: {
        kind: 'shot',
        shot: {
          index: 1,
          ball: { sensorId: 'ball', index: 1 },
          wrist: { sensorId: 'arm', index: 7 },
          measures: { snapPeakDegps: { value: 900 }, launchSpeedMps: { value: 7.31 } },
        },
      },
    });
  });

  it('tell a shot of one alone when the other has not spoken for a while', () => {
    pair.take(event('ball', madeShot(1), 19.4));
    expect(pair.advance(19.5)).toEqual([]);
    // Told long after it, the shot still lies where it left the hand.
    expect(pair.advance(60)).toMatchObject([
      {
        sensorId: 'ball',
        hostTimeS: 60,
        releaseHostS: madeShot(1).releaseS,
        event: { shot: { index: 1, wrist: null } },
      },
    ]);
  });

  it('give out what waits when one of them goes, and then each tells its own', () => {
    pair.take(event('arm', { ...armShot(1), index: 7 }, 19.4));
    expect(change('ball', null, 'ended')).toMatchObject([
      { sensorId: 'arm', event: { shot: { index: 7, ball: null } } },
    ]);
    const alone = event('arm', armShot(2), 30);
    expect(pair.take(alone)).toEqual([{ ...alone, releaseHostS: armShot(2).releaseS }]);
  });

  it('are one record also where the other is behind and one of them has ended meanwhile', () => {
    pair.take(event('ball', madeShot(1), 19.4));
    expect(change('ball', null, 'ended')).toEqual([]);
    // A shot that the ball did not see has nobody to wait for.
    const alone = { ...armShot(5), releaseS: 2, contactS: 3, index: 6 };
    expect(pair.take(event('arm', alone, 19.5))).toMatchObject([{ sensorId: 'arm', event: { shot: { ball: null } } }]);
    expect(pair.take(event('arm', { ...armShot(1), index: 7 }, 19.6))).toMatchObject([
      { sensorId: 'ball', streamIndex: 2, event: { shot: { ball: { sensorId: 'ball' }, wrist: { sensorId: 'arm' } } } },
    ]);
    const next = event('arm', armShot(2), 30);
    expect(pair.take(next)).toEqual([{ ...next, releaseHostS: armShot(2).releaseS }]);
  });

  it('do not keep a shot whose partner does not come after one of them has ended', () => {
    pair.take(event('ball', madeShot(1), 19.4));
    expect(change('ball', null, 'ended')).toEqual([]);
    expect(pair.advance(60)).toMatchObject([{ sensorId: 'ball', streamIndex: 2, event: { shot: { wrist: null } } }]);
    // Nothing waits for it any more: the arm tells its own, first estimates too.
    const early = event('arm', { ...armShot(2), stage: 'early' }, 61);
    expect(pair.take(early)).toHaveLength(1);
  });
});

it('makes one record also where the other is still being prepared when the first has told all and ended', () => {
  const opens = (sensorId: string, description: Uint8Array) =>
    pair.expect({ sensorId, state: 'streaming', hostTimeS: 1, description, detail: null });
  opens('ball', ballBytes);
  opens('arm', wristBytes);
  change('ball', ballBytes);
  // Told long after the other by the host times of their own packets: those of one say nothing of the other's.
  expect(pair.take(event('ball', madeShot(1), 19.4))).toEqual([]);
  expect(pair.take(event('ball', { ...madeShot(2), releaseS: 90, contactS: 91 }, 92))).toEqual([]);
  expect(change('ball', null, 'ended')).toEqual([]);
  expect(change('arm', wristBytes)).toEqual([]);
  expect(pair.take(event('arm', { ...armShot(1), index: 7 }, 19.6))).toMatchObject([
    { sensorId: 'ball', event: { shot: { ball: { index: 1 }, wrist: { index: 7 } } } },
  ]);
  expect(change('arm', null, 'ended')).toMatchObject([{ sensorId: 'ball', event: { shot: { wrist: null } } }]);
});

it('lets every sensor tell its own shots where nobody knows whose is whose', () => {
  change('ball', ballBytes);
  change('arm', wristBytes);
  change('other arm', wristBytes);
  const shot = event('ball', madeShot(1), 19);
  expect(pair.take(shot)).toEqual([{ ...shot, releaseHostS: madeShot(1).releaseS }]);
  expect(pair.finish(20)).toEqual([]);
});
