import { PassThrough } from 'node:stream';
import { describe, expect, it } from 'vitest';
import { calibrateSensor } from '../../../src/cli/sensors/calibrate-sensor.ts';
import { RadioDesk } from '../../../src/cli/sensors/radio-desk.ts';
import type { Surroundings } from '../../../src/cli/surroundings.ts';
import { ManualClock } from '../../devices/manual-clock.ts';
import { FakeAir, letTimePass } from '../../helpers/fake-air.ts';
import { FakeSensor } from '../../helpers/fake-sensor.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';

const radioId = '5e:00:00:00:00:01';

function surroundings(clock: ManualClock, air: FakeAir): Surroundings {
  return {
    stdout: new PassThrough(),
    stderr: new PassThrough(),
    widthColumns: 100,
    readConfig: () => ({ port: 0, dataFolder: temporaryFolder(), pageFolder: '' }),
    untilEndIsAsked: async () => {},
    openRadio: () => air,
    clock,
  };
}

describe('the radio of the commands', () => {
  it('throws sensor-not-found for what is not in the air, and leaves no timer behind', async () => {
    const clock = new ManualClock();
    const air = new FakeAir(clock, [new FakeSensor(clock)]);
    const desk = await letTimePass(clock, RadioDesk.open(surroundings(clock, air), {}));
    await expect(letTimePass(clock, desk.find('none'))).rejects.toMatchObject({ code: 'sensor-not-found' });
    let waited = false;
    void desk.wait(5).then(() => {
      waited = true;
    });
    await desk.close();
    clock.advance(100);
    await new Promise((resolve) => setImmediate(resolve));
    expect(waited).toBe(false);
  });

  it('throws sensor-not-reached after some tries', async () => {
    const clock = new ManualClock();
    const air = new FakeAir(clock, [new FakeSensor(clock, { breaks: { reconnects: false } })]);
    const desk = await letTimePass(clock, RadioDesk.open(surroundings(clock, air), {}));
    const device = await letTimePass(clock, desk.find(radioId));
    await letTimePass(clock, desk.connect(device));
    await expect(letTimePass(clock, desk.connect(device))).rejects.toMatchObject({ code: 'sensor-not-reached' });
    await desk.close();
  });

  it('is closed when a calibration ends with calibration-unfinished', async () => {
    const clock = new ManualClock();
    const air = new FakeAir(clock, [new FakeSensor(clock)]);
    const run = calibrateSensor(radioId, { turns: 1, minutes: 1 }, surroundings(clock, air));
    await expect(letTimePass(clock, run)).rejects.toMatchObject({ code: 'calibration-unfinished' });
    expect(air.closed).toBe(true);
  });
});
