/**
 * The layers of src/ as data: each folder, what it may import and whether it is pure.
 *
 * `mayImport` holds folders under src/; `folder:types` allows type imports alone; a path (`server/wire`) allows that
 * file or folder alone. `packages` lists npm packages; null allows any. A pure folder uses no `node:` module, no clock,
 * no randomness, no logging and no process.
 */
export interface Layer {
  readonly folder: string;
  readonly mayImport: readonly string[];
  readonly pure: boolean;
  readonly packages: readonly string[] | null;
}

const analysis = ['foundation', 'protocol', 'signal', 'flight', 'shots', 'study', 'coaching'];
const belowServer = [...analysis, 'reports', 'live', 'simulate', 'devices', 'sessions'];

export const layers: readonly Layer[] = [
  { folder: 'foundation', mayImport: [], pure: true, packages: [] },
  { folder: 'protocol', mayImport: ['foundation'], pure: true, packages: [] },
  { folder: 'signal', mayImport: ['foundation'], pure: true, packages: ['ml-matrix'] },
  { folder: 'flight', mayImport: ['foundation', 'signal'], pure: true, packages: ['ml-matrix'] },
  { folder: 'shots', mayImport: ['foundation', 'signal', 'flight'], pure: true, packages: ['ml-matrix'] },
  { folder: 'study', mayImport: ['foundation'], pure: true, packages: [] },
  { folder: 'coaching', mayImport: ['foundation', 'shots:types', 'study'], pure: true, packages: [] },
  { folder: 'reports', mayImport: ['foundation', 'shots:types', 'study', 'coaching'], pure: true, packages: [] },
  { folder: 'live', mayImport: analysis, pure: true, packages: ['rxjs'] },
  { folder: 'simulate', mayImport: ['foundation', 'protocol'], pure: true, packages: [] },
  { folder: 'devices', mayImport: ['foundation', 'protocol', 'simulate'], pure: false, packages: null },
  {
    folder: 'sessions',
    mayImport: ['foundation', 'protocol', 'shots:types', 'coaching:types'],
    pure: false,
    packages: null,
  },
  { folder: 'server', mayImport: belowServer, pure: false, packages: null },
  { folder: 'dashboard', mayImport: ['foundation', 'server/wire:types'], pure: false, packages: null },
  { folder: 'cli', mayImport: [...belowServer, 'server'], pure: false, packages: null },
];

/**
 * Folders that never import each other, whatever the table comes to say: the simulator's motion and flight code stands
 * apart from the analyser's, so that one cannot confirm the other's mistakes.
 */
export const neverTogether: readonly (readonly [string, string])[] = [
  ['simulate', 'signal'],
  ['simulate', 'flight'],
  ['simulate', 'shots'],
  ['simulate', 'live'],
];

/** Names that rxjs exports and that run on a clock. */
export const timedRxjs: readonly string[] = [
  'animationFrames',
  'animationFrame',
  'animationFrameScheduler',
  'asap',
  'asapScheduler',
  'async',
  'asyncScheduler',
  'auditTime',
  'bufferTime',
  'debounceTime',
  'delay',
  'interval',
  'sampleTime',
  'throttleTime',
  'timeInterval',
  'timeout',
  'timeoutWith',
  'timer',
  'timestamp',
  'windowTime',
];

/** Global names that no pure folder may touch. */
export const impureGlobals: readonly string[] = [
  'console',
  'process',
  'performance',
  'globalThis',
  'global',
  'require',
  'Buffer',
  'fetch',
  'crypto',
  'setTimeout',
  'setInterval',
  'setImmediate',
  'queueMicrotask',
];

/** The only files of src/ that read the environment. */
export const environmentReaders: readonly string[] = ['cli/config.ts', 'cli/setup/'];
