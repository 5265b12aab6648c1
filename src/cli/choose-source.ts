import { setTimeout as wait } from 'node:timers/promises';
import { filter, firstValueFrom } from 'rxjs';
import type { NobleModule } from '../devices/bluetooth/noble-api.ts';
import { createBluetoothSensors } from '../devices/bluetooth-sensors.ts';
import { BrowserSensors } from '../devices/browser-sensors.ts';
import { ownProtocolKind } from '../devices/own-protocol-kind.ts';
import { loadProfiles, shippedProfileFolder } from '../devices/profile-files.ts';
import { profileKinds } from '../devices/profile-kind.ts';
import type { RadioSensors } from '../devices/radio-sensors.ts';
import type { SensorProvider, WantedSensors } from '../devices/sensor-provider.ts';
import { createSimulatedPair } from '../devices/simulated-pair.ts';
import type { Clock } from '../foundation/clock.ts';
import type { Logger } from '../foundation/logger.ts';
import { UsageError } from './usage-error.ts';

/** Where `serve` may take its notifications from; `auto` means the radio where a sensor is there, else the simulation. */
export const sourceWords = ['auto', 'bluetooth', 'browser', 'simulated'] as const;
export type SourceWord = (typeof sourceWords)[number];

/** What the simulated shooter may carry: a sensor in the ball alone, or one on the arm besides. */
export const simulateWords = ['ball', 'both'] as const;
export type SimulateWord = (typeof simulateWords)[number];

export interface SourceWish {
  readonly word: SourceWord;
  /** Asked for by name, the simulated shooter plays and nothing is searched for. */
  readonly simulate?: SimulateWord | undefined;
  /** Of the simulated shooter with both sensors; the service has that of the ball alone. */
  readonly seed: number;
  readonly wantedSensors: WantedSensors;
  readonly moduleName?: NobleModule;
  readonly clock: Clock;
  readonly logger: Logger;
  /** How long `auto` looks for a sensor before it lets the simulated shooter play, seconds. */
  readonly lookS?: number;
}

export interface ChosenSource {
  /** Null for the simulated shooter. */
  readonly source: SensorProvider | null;
  /** What the person who started the service should know, in a line or two. */
  readonly says: string;
}

/** Finds out what there is and takes it. */
export async function chooseSource(wish: SourceWish): Promise<ChosenSource> {
  const { word, simulate, seed, wantedSensors, clock, lookS = 4 } = wish;
  if (simulate !== undefined && word !== 'auto' && word !== 'simulated') {
    throw new UsageError(
      `option '--simulate' is ${simulate}: expected without --source, or with --source simulated; came --source ${word}`,
    );
  }
  if (simulate === 'both') {
    const says =
      'The shooter is simulated, with a sensor in the ball and one on the arm; each shot is told once, from both.';
    return { source: createSimulatedPair({ clock, seed }), says };
  }
  if (simulate === 'ball') return { source: null, says: 'The shooter is simulated.' };
  if (word === 'simulated') return { source: null, says: 'The shooter is simulated.' };
  if (word === 'browser') {
    return { source: new BrowserSensors({ clock }), says: 'Press “Connect a sensor” on the page.' };
  }
  const bluetooth = openBluetooth(wish);
  if (word === 'bluetooth' || wantedSensors !== 'any') {
    return { source: bluetooth, says: 'Sensors are searched for over Bluetooth; the page says how each one does.' };
  }
  const problem = await lookAround(bluetooth, lookS);
  if (problem === null) return { source: bluetooth, says: 'A sensor is in the air and is being connected.' };
  await bluetooth.close();
  return { source: null, says: `${problem}\nThe shooter is simulated.` };
}

function openBluetooth({ wantedSensors, moduleName, clock, logger }: SourceWish): RadioSensors {
  // A board that only might be a sensor is connected when a person names it, never because it is near.
  const { profiles } = wantedSensors === 'any' ? { profiles: [] } : loadProfiles([shippedProfileFolder]);
  const kinds = [ownProtocolKind, ...profileKinds(profiles)];
  return createBluetoothSensors({ clock, logger, kinds, ...(moduleName === undefined ? {} : { moduleName }) });
}

/** @returns null when a sensor is there, or a sentence why none is. */
async function lookAround(bluetooth: RadioSensors, lookS: number): Promise<string | null> {
  const sensor = firstValueFrom(bluetooth.discover().pipe(filter(({ kindName }) => kindName !== null)), {
    defaultValue: null,
  }).then(() => null);
  const known = firstValueFrom(
    bluetooth.providerStates.pipe(filter(({ state }) => state !== 'starting' && state !== 'closed')),
    { defaultValue: null },
  ).then(async (state) => {
    if (state?.state === 'unavailable') return `${state.detail} ${state.remedy}`;
    await wait(lookS * 1000, undefined, { ref: false });
    return 'No sensor was seen over Bluetooth: wake one up and start again, or name it with --sensor to wait for it.';
  });
  return Promise.race([sensor, known]);
}
