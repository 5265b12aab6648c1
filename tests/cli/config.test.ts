import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { readConfig } from '../../src/cli/config.ts';
import { UsageError } from '../../src/cli/usage-error.ts';

describe('what the environment says', () => {
  it('is not needed', () => {
    const { port, dataFolder, pageFolder } = readConfig({});
    expect(port).toBe(8650);
    expect(path.isAbsolute(dataFolder)).toBe(true);
    expect(path.isAbsolute(pageFolder)).toBe(true);
  });

  it('is followed', () => {
    const config = readConfig({ SEAMWISE_PORT: '0', SEAMWISE_DATA: 'here' });
    expect(config.port).toBe(0);
    expect(config.dataFolder).toBe(path.resolve('here'));
  });

  it('names sensors and the package for the adapter', () => {
    const id = '00112233445566778899aabbccddeeff';
    const config = readConfig({ SEAMWISE_SENSORS: ` ${id.toUpperCase()} ,`, SEAMWISE_NOBLE: '@stoprocent/noble' });
    expect(config).toMatchObject({ sensors: [id], bluetoothModule: '@stoprocent/noble' });
    expect(readConfig({})).not.toHaveProperty('sensors');
    expect(() => readConfig({ SEAMWISE_SENSORS: 'ball' })).toThrow('"ball": expected sensor ids of 32 hex digits');
    expect(() => readConfig({ SEAMWISE_NOBLE: 'noble' })).toThrow('expected @abandonware/noble or @stoprocent/noble');
  });

  it.each(['x', '-1', '65536', '80.5', 'NaN'])('is refused where it makes no sense: port %s', (port) => {
    expect(() => readConfig({ SEAMWISE_PORT: port })).toThrow(UsageError);
    expect(() => readConfig({ SEAMWISE_PORT: port })).toThrow(`"${port}": expected a port number`);
  });
});
