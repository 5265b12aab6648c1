import { tmpdir } from 'node:os';
import path from 'node:path';
import type { RadioState } from '../../../src/devices/radio.ts';
import { ManualClock } from '../../devices/manual-clock.ts';
import { FakeAir, type FakeDevice, letTimePass } from '../../helpers/fake-air.ts';
import { type CliRun, runCli } from '../run-cli.ts';

export interface FakeAirOptions {
  readonly state?: RadioState;
  readonly dataFolder?: string;
  readonly stepS?: number;
  readonly widthColumns?: number;
  readonly untilEndIsAsked?: () => Promise<void>;
}

/** Runs a command about sensors where these devices are in the air; no real time passes. */
export async function runInFakeAir(
  words: readonly string[],
  makeDevices: (clock: ManualClock) => readonly FakeDevice[],
  options: FakeAirOptions = {},
): Promise<CliRun & { readonly air: FakeAir }> {
  const { state = { state: 'ready' }, stepS = 0.01, untilEndIsAsked = () => new Promise<void>(() => {}) } = options;
  const dataFolder = options.dataFolder ?? path.join(tmpdir(), 'seamwise-no-such-folder');
  const clock = new ManualClock();
  const air = new FakeAir(clock, makeDevices(clock), state);
  const config = { port: 0, dataFolder, pageFolder: '' };
  const { widthColumns = 160 } = options;
  const around = { openRadio: () => air, clock, readConfig: () => config, untilEndIsAsked, widthColumns };
  const run = runCli(['sensors', ...words], around);
  return { ...(await letTimePass(clock, run, stepS)), air };
}
