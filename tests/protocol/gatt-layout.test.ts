import { readFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import {
  batteryServiceUuid,
  deviceInformationUuid,
  neutralNamePattern,
  normaliseUuid,
  sensorCharacteristics,
  sensorServiceUuid,
  standardCharacteristics,
} from '../../src/protocol/gatt-layout.ts';
import { projectRoot } from '../helpers/project-root.ts';

const document = readFileSync(path.join(projectRoot, 'firmware-protocol', 'gatt.md'), 'utf8');

describe('the GATT layout', () => {
  it('has the UUIDs and properties that the document says', () => {
    const row = (name: string) => document.split('\n').find((line) => line.startsWith(`| ${name} `)) ?? '';
    expect(row('sensor service')).toContain(`\`${sensorServiceUuid}\``);
    for (const [name, { characteristic, properties }] of Object.entries(sensorCharacteristics)) {
      expect(row(name)).toContain(`\`${characteristic}\``);
      for (const property of properties) expect(row(name)).toContain(property);
    }
  });

  it('has the standard services under their assigned numbers', () => {
    // SOURCE: Bluetooth SIG, Assigned Numbers, 3.4 (services) and 3.8 (characteristics).
    expect(deviceInformationUuid).toBe('180a');
    expect(batteryServiceUuid).toBe('180f');
    expect(standardCharacteristics.batteryPercent.characteristic).toBe('2a19');
    expect(standardCharacteristics.manufacturer.characteristic).toBe('2a29');
    expect(standardCharacteristics.model.characteristic).toBe('2a24');
    expect(standardCharacteristics.firmwareRevision.characteristic).toBe('2a26');
    expect(standardCharacteristics.hardwareRevision.characteristic).toBe('2a27');
  });

  it('knows a neutral name', () => {
    expect('IMU-0A3F').toMatch(neutralNamePattern);
    for (const name of ['IMU-0a3f', 'IMU-12345', "Player 07's ball", '']) expect(name).not.toMatch(neutralNamePattern);
  });
});

describe('normaliseUuid', () => {
  it.each([
    ['180A', '180a'],
    ['0000180f', '180f'],
    ['0000180F-0000-1000-8000-00805F9B34FB', '180f'],
    ['0000180f00001000800000805f9b34fb', '180f'],
    ['a01e285269d0466685cdfd7d5fa55ab1', sensorServiceUuid],
    [sensorServiceUuid.toUpperCase(), sensorServiceUuid],
    ['12345678', '12345678-0000-1000-8000-00805f9b34fb'],
  ])('%s', (text, uuid) => {
    expect(normaliseUuid(text)).toBe(uuid);
  });

  it.each(['', '18', '180g', '180a1', 'a01e2852-69d0-4666-85cd-fd7d5fa55ab', 'x'.repeat(1000)])(
    'no UUID: %s',
    (text) => {
      expect(normaliseUuid(text)).toBeNull();
    },
  );
});
