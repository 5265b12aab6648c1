/**
 * ERROR BUDGET: a ball and an arm sensor of one practice, each on its own clock, notifications with their own delays. One record
 * for every shot that both found; its release within 4 standard errors of the ball alone plus 2 ms (the ball's goal);
 * releases of the two sensors agree within four standard errors of clocks, radios and releases together, so nearly no
 * record may be flagged for it.
 */
import { describe, expect, it } from 'vitest';
import { SensorChain } from '../../src/live/notification-chain.ts';
import { decodeSensorDescription } from '../../src/protocol/sensor-description.ts';
import { type MergedEvent, ShotMerger } from '../../src/shots/merge/shot-merger.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { encodePairedPractice } from '../../src/simulate/arm/wrist-encoded.ts';
import { drawWristPlan, pairedDecoyKinds } from '../../src/simulate/arm/wrist-plan.ts';
import type { ShotTruth } from '../../src/simulate/practice-truth.ts';

function play(seed: number) {
  const plan = drawWristPlan(seed, { shots: 6, decoys: 3, decoyKinds: pairedDecoyKinds });
  const { descriptions, sensors, chunks } = encodePairedPractice({ seed, plan });
  const chains = {
    ball: new SensorChain({
      sensorName: 'ball',
      description: decodeSensorDescription(descriptions.ball),
      ballSettings: defaultBallSettings,
    }),
    wrist: new SensorChain({
      sensorName: 'wrist',
      description: decodeSensorDescription(descriptions.wrist),
      ballSettings: defaultBallSettings,
    }),
  };
  const merger = new ShotMerger();
  const events: MergedEvent[] = [];
  const truth: ShotTruth[] = [];
  let nowS = 0;
  const alone = { ball: 0, wrist: 0 };
  const take = (place: 'ball' | 'wrist', chainEvents: ReturnType<SensorChain['push']>) => {
    for (const event of chainEvents) {
      if (event.kind !== 'shot' && event.kind !== 'rejected') continue;
      if (event.kind === 'shot' && event.shot.stage === 'final') alone[place]++;
      events.push(...merger.push(place, place, event, chains[place].summary().clock.host, nowS));
    }
  };
  for (const chunk of chunks) {
    truth.push(...chunk.ball.shots);
    for (const { sensorId, bytes, hostTimeS } of chunk.notifications) {
      nowS = Math.max(nowS, hostTimeS);
      const place = sensorId === sensors.ball.sensorId ? 'ball' : 'wrist';
      take(place, chains[place].push(bytes, hostTimeS));
    }
  }
  take('ball', chains.ball.finish());
  take('wrist', chains.wrist.finish());
  events.push(...merger.finish());
  return { events, truth, alone };
}

describe('two sensors at one practice', () => {
  it('give one record a shot, each number from the sensor that knows it', () => {
    let both = 0;
    let found = 0;
    let flagged = 0;
    for (const seed of [3, 8]) {
      const { events, truth, alone } = play(seed);
      const records = events.flatMap((event) => (event.kind === 'shot' ? [event.shot] : []));
      const merged = records.filter((record) => record.ball !== null && record.wrist !== null);
      both += merged.length;
      found += Math.min(alone.ball, alone.wrist);
      for (const record of merged) {
        const own = truth.filter(({ releaseS }) => Math.abs(releaseS - (record.releaseS ?? 0)) < 0.2);
        expect(own).toHaveLength(1);
        if (record.timeSources.release === 'ball') {
          const error = Math.abs(own[0]!.releaseS - record.releaseS!);
          expect(error).toBeLessThan(4 * record.timeErrorsS.release! + 0.002);
        }
        if (record.flags.includes('release-differs')) flagged++;
        const { spinRps, snapPeakDegps } = record.measures;
        if (spinRps.value !== null) expect(spinRps.source).toBe('ball');
        if (snapPeakDegps.value !== null) expect(snapPeakDegps.source).toBe('wrist');
      }
      // No shot is told twice: every record stands alone in time.
      const times = merged.map((record) => record.releaseS!).sort((a, b) => a - b);
      for (let k = 1; k < times.length; k++) expect(times[k]! - times[k - 1]!).toBeGreaterThan(1);
    }
    expect(found).toBeGreaterThan(8);
    expect(both).toBeGreaterThanOrEqual(found - 1);
    expect(flagged).toBeLessThanOrEqual(0.15 * both);
  });
});
