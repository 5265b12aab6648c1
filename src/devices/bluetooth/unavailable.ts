import type { RadioState } from '../radio.ts';
import type { UnavailableReason } from '../sensor-provider.ts';

export type Unavailable = Extract<RadioState, { state: 'unavailable' }>;

/** The machine, as far as the advice depends on it. */
export interface Surroundings {
  readonly platform: string;
  /** Path of the Node that runs. */
  readonly execPath: string;
  readonly moduleName: string;
}

const begin = 'Bluetooth is not available here:';
const orBrowser = 'or connect the sensor in a browser on this machine with “Connect a sensor” on the page';

type Advice = { readonly linux: string; readonly darwin: string; readonly win32: string; readonly other: string };

/** @returns one sentence what is wrong and one what to do about it on this system. */
export function unavailable(reason: UnavailableReason, around: Surroundings, more = ''): Unavailable {
  const { detail, advice } = texts(reason, around);
  const { platform } = around;
  const known = platform === 'linux' || platform === 'darwin' || platform === 'win32';
  const said = oneLine(more);
  return {
    state: 'unavailable',
    reason,
    detail: `${begin} ${detail}${said === '' ? '' : ` (${said})`}.`,
    remedy: advice[known ? platform : 'other'],
  };
}

function texts(reason: UnavailableReason, around: Surroundings): { detail: string; advice: Advice } {
  const { moduleName, execPath } = around;
  const all = (text: string): Advice => ({ linux: text, darwin: text, win32: text, other: text });
  switch (reason) {
    case 'no-package':
      return {
        detail: `the optional package ${moduleName} is not installed`,
        advice: {
          linux: `Install python3, make and g++ (Debian, Raspberry Pi OS: sudo apt install build-essential python3) and run npm install once more; ${orBrowser}.`,
          darwin: `Install the command line tools (xcode-select --install) and run npm install once more; ${orBrowser}.`,
          win32: `Install Python and the Visual Studio build tools and run npm install once more; ${orBrowser}.`,
          other: `Run npm install once more where python3, make and a C++ compiler are there; ${orBrowser}.`,
        },
      };
    case 'package-broken':
      return {
        detail: `the package ${moduleName} is installed but cannot be loaded`,
        advice: all(
          `Run npm rebuild with the Node that is used now (it needs python3, make and a C++ compiler); ${orBrowser}.`,
        ),
      };
    case 'no-kernel-support':
      return {
        detail: "this system's kernel has no Bluetooth",
        advice: all(
          'Use a machine with Bluetooth LE; in a container or virtual machine give it the adapter and the host network.',
        ),
      };
    case 'no-adapter':
      return {
        detail: 'no adapter was found',
        advice: {
          linux:
            'Plug in a Bluetooth LE adapter and look for it with "bluetoothctl list"; if it is there, "sudo systemctl restart bluetooth".',
          darwin: 'Switch Bluetooth on in System Settings, Bluetooth, and allow it when the system asks.',
          win32: 'Plug in a Bluetooth LE adapter and look for it in Settings, Bluetooth & devices.',
          other: 'Plug in a Bluetooth LE adapter.',
        },
      };
    case 'adapter-off':
      return {
        detail: 'the adapter is switched off',
        advice: {
          linux: 'Switch it on: "sudo rfkill unblock bluetooth", then "bluetoothctl power on".',
          darwin: 'Switch it on in System Settings, Bluetooth.',
          win32: 'Switch it on in Settings, Bluetooth & devices.',
          other: 'Switch it on.',
        },
      };
    case 'adapter-unsupported':
      return {
        detail: 'the adapter does not know Bluetooth LE',
        advice: all('Plug in an adapter with Bluetooth 4.0 or newer.'),
      };
    case 'permission-missing':
      return {
        detail: 'this program may not use the adapter',
        advice: {
          linux: `Allow it once: sudo setcap cap_net_raw,cap_net_admin+eip "$(readlink -f '${execPath.replaceAll("'", "'\\''")}')"`,
          darwin: 'Allow the terminal (or whatever starts Node) in System Settings, Privacy & Security, Bluetooth.',
          win32: 'Allow it in Settings, Privacy & security, Radios, and run it outside a service account.',
          other: 'Give this program the right to use the adapter.',
        },
      };
    case 'process-dies':
      return {
        detail: 'the process that talks to the adapter ends again and again',
        advice: all('It is tried on. Unplug the adapter and plug it in again, or restart the machine.'),
      };
    case 'no-page':
      return {
        detail: 'no page is open that could connect',
        advice: all('Open the page on this machine and press “Connect a sensor”.'),
      };
  }
}

/** Why the package could not be loaded, from the error that `require` threw. */
export function reasonOfLoadError(error: unknown, moduleName: string): UnavailableReason {
  const { code, message } = errorFacts(error);
  if (code === 'EAFNOSUPPORT' || message.includes('EAFNOSUPPORT')) return 'no-kernel-support';
  if (code === 'EPERM' || code === 'EACCES') return 'permission-missing';
  if (code === 'ENODEV') return 'no-adapter';
  if (code === 'MODULE_NOT_FOUND' && message.includes(`'${moduleName}'`)) return 'no-package';
  return 'package-broken';
}

/** Why the process died, from its exit; null where that says nothing. 134 is 128 + SIGABRT. */
export function reasonOfExit(code: number | null, signal: string | null, stderr: string): UnavailableReason | null {
  if (stderr.includes('EAFNOSUPPORT')) return 'no-kernel-support';
  if (code === 134 || signal === 'SIGABRT') return 'no-kernel-support';
  return null;
}

/** What noble's adapter state means; null where the adapter is ready or not yet known. */
export function reasonOfAdapterState(state: string): UnavailableReason | null {
  if (state === 'poweredOff') return 'adapter-off';
  if (state === 'unauthorized') return 'permission-missing';
  if (state === 'unsupported') return 'adapter-unsupported';
  return null;
}

export function errorFacts(error: unknown): { readonly code: string; readonly message: string } {
  const { code, message } = (typeof error === 'object' && error !== null ? error : {}) as {
    code?: unknown;
    message?: unknown;
  };
  return { code: String(code ?? ''), message: String(message ?? error) };
}

function oneLine(text: string): string {
  const line = text.split('\n', 1)[0]!.trim();
  return line.length > 160 ? `${line.slice(0, 160)}…` : line;
}
