import { chmodSync, mkdirSync, mkdtempSync, rmSync, statSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { silentLogger } from '../../src/foundation/logger.ts';
import { type DataFolderHints, defaultDataFolder, openDataFolder } from '../../src/server/data-folder.ts';

let base = '';
beforeEach(() => {
  base = mkdtempSync(path.join(os.tmpdir(), 'seamwise-data-'));
});
afterEach(() => rmSync(base, { recursive: true, force: true }));

const hints: DataFolderHints = {
  platform: 'linux',
  homeFolder: '/home/player',
  xdgDataHome: undefined,
  localAppData: undefined,
};

describe('defaultDataFolder', () => {
  // SOURCE of the first three: XDG Base Directory Specification 0.8; the others: common practice, no source.
  test('Linux', () => expect(defaultDataFolder(hints)).toBe('/home/player/.local/share/seamwise'));
  test('Linux with XDG_DATA_HOME', () => {
    expect(defaultDataFolder({ ...hints, xdgDataHome: '/data' })).toBe('/data/seamwise');
  });
  test('Linux with a relative XDG_DATA_HOME, which is to be ignored', () => {
    expect(defaultDataFolder({ ...hints, xdgDataHome: 'data' })).toBe('/home/player/.local/share/seamwise');
  });
  test('macOS', () => {
    expect(defaultDataFolder({ ...hints, platform: 'darwin' })).toBe(
      '/home/player/Library/Application Support/Seamwise',
    );
  });
  test('Windows', () => {
    const windows = { ...hints, platform: 'win32', homeFolder: 'C:\\Users\\player' } as const;
    expect(defaultDataFolder(windows)).toBe('C:\\Users\\player\\AppData\\Local\\Seamwise');
    expect(defaultDataFolder({ ...windows, localAppData: 'D:\\Local' })).toBe('D:\\Local\\Seamwise');
  });
});

describe('openDataFolder', () => {
  test.skipIf(process.platform === 'win32')('makes a folder for its user alone, parents too', () => {
    const folder = path.join(base, 'share', 'seamwise');
    openDataFolder(folder, silentLogger);
    expect(statSync(folder).mode & 0o777).toBe(0o700);
    expect(statSync(path.dirname(folder)).mode & 0o777).toBe(0o700);
  });

  test.skipIf(process.platform === 'win32')(
    'leaves the rights of a folder that was there, and says they are wide',
    () => {
      const folder = path.join(base, 'wide');
      mkdirSync(folder);
      chmodSync(folder, 0o755);
      const warnings: string[] = [];
      openDataFolder(folder, { ...silentLogger, warn: (_fields, message) => warnings.push(message) });
      expect(statSync(folder).mode & 0o777).toBe(0o755);
      expect(warnings).toHaveLength(1);
    },
  );

  test('a file in the way gives an error that says what to do', () => {
    const file = path.join(base, 'file');
    writeFileSync(file, '');
    expect(() => openDataFolder(file, silentLogger)).toThrow(/expected a folder, found a file\. Name another folder/);
    expect(() => openDataFolder(path.join(file, 'below'), silentLogger)).toThrow(/could not be made/);
  });
});
