import { describe, expect, test } from 'vitest';
import {
  reasonOfAdapterState,
  reasonOfExit,
  reasonOfLoadError,
  unavailable,
} from '../../../src/devices/bluetooth/unavailable.ts';
import { unavailableReasons } from '../../../src/devices/sensor-provider.ts';

const moduleName = '@abandonware/noble';

describe('why there is no Bluetooth', () => {
  test('from what loading the package throws', () => {
    const failed = (code: string, message = ''): unknown => Object.assign(new Error(message), { code });
    const reason = (error: unknown) => reasonOfLoadError(error, moduleName);
    expect(reason(failed('EAFNOSUPPORT', 'EAFNOSUPPORT, Address family not supported by protocol'))).toBe(
      'no-kernel-support',
    );
    expect(reason(failed('MODULE_NOT_FOUND', "Cannot find module '@abandonware/noble'"))).toBe('no-package');
    expect(reason(failed('MODULE_NOT_FOUND', "Cannot find module '../build/Release/x.node'"))).toBe('package-broken');
    expect(reason(failed('ERR_DLOPEN_FAILED', 'compiled against a different Node.js version'))).toBe('package-broken');
    expect(reason(failed('EPERM'))).toBe('permission-missing');
    expect(reason(failed('ENODEV'))).toBe('no-adapter');
    expect(reason(new Error('Unsupported platform'))).toBe('package-broken');
    expect(reason('a string')).toBe('package-broken');
  });

  test('from how the process ended', () => {
    expect(reasonOfExit(134, null, '')).toBe('no-kernel-support');
    expect(reasonOfExit(null, 'SIGABRT', '')).toBe('no-kernel-support');
    expect(reasonOfExit(1, null, 'Error: EAFNOSUPPORT, Address family')).toBe('no-kernel-support');
    expect(reasonOfExit(null, 'SIGKILL', '')).toBeNull();
  });

  test('from the state of the adapter', () => {
    const states = ['poweredOn', 'poweredOff', 'unauthorized', 'unsupported', 'unknown', 'resetting'];
    expect(states.map(reasonOfAdapterState)).toEqual([
      ...[null, 'adapter-off', 'permission-missing', 'adapter-unsupported', null, null],
    ]);
  });

  test.each(unavailableReasons)('%s: one sentence what is wrong and one what to do, on each system', (reason) => {
    for (const platform of ['linux', 'darwin', 'win32', 'freebsd']) {
      const told = unavailable(reason, { platform, execPath: "/opt/it's/node", moduleName }, 'line one\nline two');
      expect(told.detail).toMatch(/^Bluetooth is not available here: [^\n]+ \(line one\)\.$/);
      expect(told.remedy).toMatch(/^[A-Z“][^\n]+[.)"]$/);
    }
  });

  test('the remedy of a missing permission can be typed as it stands', () => {
    const { remedy } = unavailable('permission-missing', { platform: 'linux', execPath: "/opt/it's/node", moduleName });
    expect(remedy).toContain(`sudo setcap cap_net_raw,cap_net_admin+eip "$(readlink -f '/opt/it'\\''s/node')"`);
  });
});
