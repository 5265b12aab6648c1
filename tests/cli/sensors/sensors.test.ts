import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { type CharacteristicRef, RadioError } from '../../../src/devices/radio.ts';
import type { ManualClock } from '../../devices/manual-clock.ts';
import type { FakeDevice } from '../../helpers/fake-air.ts';
import { blockRows, FakeSensor } from '../../helpers/fake-sensor.ts';
import { type HandTurnedOptions, handTurned } from '../../helpers/hand-turned-sensor.ts';
import { calibrationActs, noErrors, scripted } from '../../helpers/scripted-sensor.ts';
import { profileDocuments } from '../../helpers/shipped-profiles.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import { ballDescription } from '../../protocol/made-frames.ts';
import { runInFakeAir } from './in-fake-air.ts';

const radioId = '5e:00:00:00:00:01';

/** Something in the air that is no sensor, with a name that would do things to a terminal. */
function stranger(name: string | null, id = 'aa:aa:aa:aa:aa:aa'): FakeDevice {
  const unused = (): never => {
    throw new RadioError('refused', 'not for you');
  };
  return {
    sighting: { radioId: id, name, serviceUuids: ['180d'], manufacturerData: null, rssiDbm: -90, connectable: false },
    characteristics: [],
    read: unused,
    write: unused,
    subscribe: unused,
    connected: () => false,
  };
}

/** A board that sends nine int16 a notification, 50 times a second. */
function board(clock: ManualClock): FakeDevice {
  const service = 'ef680400-9b35-4933-9b10-52ffa9740042';
  const place = { service, characteristic: 'ef680406-9b35-4933-9b10-52ffa9740042' };
  let take: ((bytes: Uint8Array) => void) | null = null;
  let at = 0;
  const send = (): void => {
    if (take === null) return;
    at += 1;
    take(new Uint8Array(Int16Array.of(3, -4, 1024 + (at % 3), 5 + (at % 2), at % 2, at % 3, 1, 2, 3).buffer));
    clock.schedule(clock.nowS() + 0.02, send);
  };
  return {
    sighting: {
      radioId: 'b0:00',
      name: null,
      serviceUuids: [service],
      manufacturerData: null,
      rssiDbm: -70,
      connectable: true,
    },
    characteristics: [{ ...place, properties: ['notify'] }],
    read: () => new Uint8Array(),
    write: () => {},
    subscribe(_: CharacteristicRef, next) {
      take = next;
      clock.schedule(clock.nowS() + 0.02, send);
    },
    connected(on) {
      if (!on) take = null;
      return true;
    },
  };
}

describe('sensors', () => {
  it('lists what is in the air, sensors first, with signal, profile and sensor id', async () => {
    const { code, stdout } = await runInFakeAir([], (clock) => [
      stranger('\u001b[2JKitchen\u202e radio'),
      board(clock),
      new FakeSensor(clock),
    ]);
    expect(code).toBe(0);
    const lines = stdout.trimEnd().split('\n').slice(2);
    expect(lines[0]).toMatch(/^5e:00:00:00:00:01 +-58 +IMU-3F0A +stream format +00112233445566778899aabbccddeeff$/);
    expect(lines[1]).toMatch(/^b0:00 +-70 +– +nine-int16-fixed-point +[0-9a-f]{32}$/);
    expect(lines[2]).toMatch(/^aa:aa:aa:aa:aa:aa +-90 +\[2JKitchen +radio +none fits$/);
  });

  it('says the same as JSON', async () => {
    const { stdout } = await runInFakeAir(['list', '--json', '--seconds', '2'], (clock) => [
      new FakeSensor(clock),
      stranger(null),
    ]);
    const { devices, profileProblems } = JSON.parse(stdout);
    expect(profileProblems).toEqual([]);
    expect(devices).toMatchObject([
      { radioId, name: 'IMU-3F0A', strongestDbm: -58, profile: 'stream format', sensorId: ballDescription.sensorId },
      { name: null, profile: null, sensorId: null },
    ]);
  });

  it('says what to do where nothing is in the air', async () => {
    const { code, stdout } = await runInFakeAir([], () => []);
    expect(code).toBe(0);
    expect(stdout).toContain('Nothing was in the air for 5 s. Wake the sensor up');
  });

  it('takes profiles of the person, and says which cannot be used', async () => {
    const dataFolder = temporaryFolder();
    const folder = path.join(dataFolder, 'profiles');
    mkdirSync(folder);
    writeFileSync(path.join(folder, 'broken.json'), '{');
    const own = structuredClone(profileDocuments().get('three-int16-milli-g.json')) as { id: string; match: object };
    own.id = 'my-radio';
    own.match = { namePrefixes: ['Kitchen'] };
    const file = path.join(dataFolder, 'own.json');
    writeFileSync(file, JSON.stringify(own));
    const { stdout, stderr } = await runInFakeAir(['--profile', file], () => [stranger('Kitchen radio')], {
      dataFolder,
    });
    expect(stdout).toContain('my-radio');
    expect(stderr).toContain('not used: device profile');
    expect(stderr).toContain('broken.json');
    const missing = await runInFakeAir(['--profile', path.join(dataFolder, 'none.json')], () => []);
    expect(missing.code).toBe(1);
    expect(missing.stderr).toContain('none.json: expected a JSON document');
  });
});

describe('without Bluetooth each command says so in one clear sentence, and ends with 3', () => {
  const state = {
    state: 'unavailable',
    reason: 'no-adapter',
    detail: 'Bluetooth is not available here: no adapter was found.',
    remedy: 'Plug one in.',
  } as const;
  it.each([[[]], [['list']], [['try', 'x']], [['calibrate', 'x']], [['conform', 'x']]])('sensors %j', async (words) => {
    const { code, stdout, stderr, air } = await runInFakeAir(words, () => [], { state });
    expect(code).toBe(3);
    expect(stdout).toBe('');
    expect(stderr).toBe('Bluetooth is not available here: no adapter was found. Plug one in.\n');
    expect(air.closed).toBe(true);
  });

  it('nor does it wait for ever', async () => {
    const { code, stderr } = await runInFakeAir([], () => [], { state: { state: 'starting' } });
    expect(code).toBe(3);
    expect(stderr).toContain('did not get ready within 15 s');
  });
});

describe('a sensor that is named', () => {
  it.each([['try'], ['calibrate'], ['conform']])('%s: is not found', async (command) => {
    const { code, stderr, air } = await runInFakeAir([command, 'no\u001b[2J'], (clock) => [new FakeSensor(clock)]);
    expect(code).toBe(1);
    expect(stderr).toContain('no device "no [2J" was seen within 10 s; in the air: 5e:00:00:00:00:01 (IMU-3F0A)');
    expect(air.closed).toBe(true);
  });

  it('is found by its sensor id, which only its description says', async () => {
    const { code } = await runInFakeAir(['try', ballDescription.sensorId, '--seconds', '3'], (clock) => [
      stranger('x'),
      new FakeSensor(clock),
    ]);
    expect(code).toBe(0);
  });

  it('is found by its address however that is written', async () => {
    for (const word of ['5E-00-00-00-00-01', '5e0000000001']) {
      const { code } = await runInFakeAir(['try', word, '--seconds', '3'], (clock) => [new FakeSensor(clock)]);
      expect(code).toBe(0);
    }
  });

  it('is not guessed where two are called alike', async () => {
    const twin = (clock: ManualClock) => new FakeSensor(clock, { breaks: { sighting: { radioId: '5e:02' } } });
    const { code, stderr } = await runInFakeAir(['conform', 'imu-3f0a'], (clock) => [
      twin(clock),
      new FakeSensor(clock),
    ]);
    expect(code).toBe(1);
    expect(stderr).toMatch(/2 devices are called "imu-3f0a": name one by its address, 5e:0\d.*, 5e:0\d/);
  });

  it('cannot be used where no profile fits or it does not answer', async () => {
    const unknown = await runInFakeAir(['try', 'x'], () => [stranger('x')]);
    expect(unknown.code).toBe(1);
    expect(unknown.stderr).toContain('x (aa:aa:aa:aa:aa:aa) cannot be used: no device profile fits it');
    const deaf = await runInFakeAir(['conform', 'x'], () => [stranger('x')]);
    expect(deaf.code).toBe(1);
    expect(deaf.stderr).toContain('cannot be used: the device did not answer');
  });
});

describe('sensors try', () => {
  const tried = (options: HandTurnedOptions, words: readonly string[] = []) =>
    runInFakeAir(['try', radioId, '--seconds', '18', ...words], (clock) => [
      new FakeSensor(clock, { rows: blockRows(handTurned({ rateHz: 208, ...options })) }),
    ]);

  it('prints rates, gaps, ranges, noise, rest, turns and clock of a good sensor, and ends with 0', async () => {
    const { code, stdout } = await tried({});
    expect(code).toBe(0);
    expect(stdout).toMatch(/rate +208\.0\d ± 0\.\d+ Hz, [+-]0\.\d\d % against 208\.0 Hz/);
    expect(stdout).toMatch(/gaps +none/);
    expect(stdout).toMatch(/accelerometer +x -?\d.*of ±16 g/);
    expect(stdout).toMatch(/at rest +\|a\| 9\.8\d\d m\/s² \((1\.00|0\.99)\d\d g\)/);
    expect(stdout).toMatch(/turns +gravity shows (1\.0|0\.9)\d\d ± 0\.\d+ times what the gyroscope reads; axes 1 2 3/);
    expect(stdout).toMatch(/clock +-?\d+ ± \d+ ppm/);
    expect(stdout).toContain('Nothing was found against it.');
  });

  it('names wrong units and ends with 4', async () => {
    const reads: HandTurnedOptions['reads'] = (a, w) => [[a[0] / 9.80665, a[1] / 9.80665, a[2] / 9.80665], w];
    const { code, stdout, stderr } = await tried({ reads, accelNoiseMps2: 0.0005 });
    expect(code).toBe(4);
    expect(stdout.replaceAll(/\s+/g, ' ')).toContain(
      'm/s² (0.102 g) and should be 9.81 m/s²: the values seem to be in g',
    );
    expect(stderr).toContain('something is wrong with IMU-3F0A');
  });

  it('says it all as JSON', async () => {
    const { code, stdout } = await tried({ reads: (a, [x, y, z]) => [a, [x, y, -z]] }, ['--json']);
    expect(code).toBe(4);
    const report = JSON.parse(stdout);
    expect(report).toMatchObject({ profile: 'stream format', endedEarly: null, turns: { axes: [1, 2, -3] } });
    expect(report.findings.map(({ code: its }: { code: string }) => its)).toEqual(['gyro-axes']);
    expect(report.description.sensorId).toBe(ballDescription.sensorId);
  });

  it('tries a board through its profile', async () => {
    const { code, stdout } = await runInFakeAir(['try', 'b0:00', '--seconds', '6'], (clock) => [board(clock)]);
    expect(code).toBe(0);
    expect(stdout).toContain('profile nine-int16-fixed-point');
    expect(stdout).toMatch(/\|a\| 9\.8\d\d/);
  });
});

describe('sensors calibrate', () => {
  const errors = {
    ...noErrors,
    accelBiasMps2: [0.25, -0.3, 0.1],
    accelScale: [1.01, 0.99, 1],
    gyroBiasRadps: [0.01, 0.02, -0.01],
    gyroScale: [1.02, 0.98, 1],
  } as const;
  const rows = blockRows(scripted(calibrationActs(), errors, 208));

  it('leads through it, shows the residuals and keeps the result with sensor and date', async () => {
    const dataFolder = temporaryFolder();
    const { code, stdout, stderr } = await runInFakeAir(
      ['calibrate', radioId],
      (clock) => [new FakeSensor(clock, { rows })],
      { dataFolder, stepS: 0.02 },
    );
    expect(code).toBe(0);
    expect(stderr).toContain('Six sides: lay it down');
    expect(stderr).toContain('+z up: taken; still to come: +x -x +y -y -z');
    expect(stderr).toContain('Two checks');
    expect(stderr).toMatch(/turn with \+x up: read as -?3\d\d\.\d°; 5 to come/);
    expect(stdout).toMatch(/residuals of the checks +[+−]0\.0\d+/);
    expect(stdout).toMatch(/residuals of the turns, ° +[+−]\d/);
    const { version, calibrations } = JSON.parse(
      readFileSync(path.join(dataFolder, 'sensor-calibrations.json'), 'utf8'),
    );
    expect(version).toBe(1);
    expect(calibrations).toHaveLength(1);
    expect(calibrations[0]).toMatchObject({ sensorId: ballDescription.sensorId });
    expect(calibrations[0].madeAtS).toBeGreaterThan(1_700_000_000);
    for (const [axis, scale] of errors.gyroScale.entries()) {
      expect(Math.abs(calibrations[0].gyro.scale[axis] - scale)).toBeLessThan(0.003);
    }
  });

  it('prints JSON alone to stdout', async () => {
    const dataFolder = temporaryFolder();
    const { stdout } = await runInFakeAir(
      ['calibrate', radioId, '--json'],
      (clock) => [new FakeSensor(clock, { rows })],
      {
        dataFolder,
        stepS: 0.02,
      },
    );
    const { calibration, accelResidualsMps2 } = JSON.parse(stdout);
    expect(calibration.sensorId).toBe(ballDescription.sensorId);
    expect(accelResidualsMps2).toHaveLength(6);
  });

  it('keeps nothing when it is ended or takes too long', async () => {
    const dataFolder = temporaryFolder();
    const still = (clock: ManualClock) => [new FakeSensor(clock)];
    const ended = await runInFakeAir(['calibrate', radioId], still, { dataFolder, untilEndIsAsked: async () => {} });
    expect(ended.code).toBe(1);
    expect(ended.stderr).toContain('has no result: it was ended');
    const late = await runInFakeAir(['calibrate', radioId, '--minutes', '1'], still, { dataFolder, stepS: 0.05 });
    expect(late.code).toBe(1);
    expect(late.stderr).toContain('it was not done within 1 minutes');
    expect(existsSync(path.join(dataFolder, 'sensor-calibrations.json'))).toBe(false);
  });
});

describe('sensors conform', () => {
  it('prints a line a clause and a sum', async () => {
    const { code, stdout } = await runInFakeAir(['conform', radioId], (clock) => [
      new FakeSensor(clock, { breaks: { firmwareRevision: '9.9.9\u001b[2J' } }),
    ]);
    expect(code).toBe(4);
    expect(stdout).toMatch(/^pass {2}advertisement\.service$/m);
    expect(stdout).toMatch(/^FAIL {2}information\.firmware$/m);
    expect(stdout).toContain('1 failed, 0 not tested');
    expect(stdout).not.toContain('\u001b');
  });
});

describe('wrong words end with 2', () => {
  it.each([
    [['try']],
    [['try', 'a', '--seconds', '0']],
    [['calibrate', 'a', '--turns', '1.5']],
    [['conform', 'a', 'b']],
    [['sniff']],
  ])('sensors %j', async (words) => {
    expect((await runInFakeAir(words, () => [])).code).toBe(2);
  });
});
