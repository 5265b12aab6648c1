import path from 'node:path';
import type { DeviceKind } from '../../devices/device-kind.ts';
import { ownProtocolKind } from '../../devices/own-protocol-kind.ts';
import { loadProfiles, readProfileFile, shippedProfileFolder } from '../../devices/profile-files.ts';
import { boardSensorId, profileKind } from '../../devices/profile-kind.ts';
import { type GattSession, type Radio, RadioError, type Sighting } from '../../devices/radio.ts';
import { plainText } from '../../devices/read-information.ts';
import { systemClock } from '../../devices/system-clock.ts';
import type { Clock } from '../../foundation/clock.ts';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { Surroundings } from '../surroundings.ts';
import { NoBluetoothError } from './no-bluetooth-error.ts';

/** A device as it was seen in the air. All of it comes from strangers. */
export interface SeenDevice {
  readonly radioId: string;
  readonly name: string | null;
  readonly serviceUuids: readonly string[];
  readonly connectable: boolean;
  /** Of the strongest and of the newest advertisement. */
  readonly strongestDbm: number;
  readonly newestDbm: number;
  readonly advertisements: number;
  readonly kind: DeviceKind | null;
  /** Title of the kind, for a person. */
  readonly kindTitle: string | null;
  /** Id of a board with a profile; a sensor of the project's own protocol says it only when it is connected. */
  readonly sensorId: string | null;
}

interface KnownKind {
  readonly kind: DeviceKind;
  readonly title: string;
  readonly idOf: (radioId: string) => string | null;
}

export interface DeskWords {
  /** Files of further profiles, which go before all others. */
  readonly profile?: readonly string[];
}

const readyWithinS = 15;
const connectTries = 3;
export const longestSearchS = 10;
const namesakeS = 1.5;

/** The radio, as commands for one person and one sensor need it. */
export class RadioDesk {
  readonly clock: Clock;
  /** Profiles that could not be used, a sentence each. */
  readonly problems: readonly string[];
  readonly #radio: Radio;
  readonly #waits = new Set<() => void>();
  readonly #kinds: readonly KnownKind[];

  private constructor(radio: Radio, clock: Clock, kinds: readonly KnownKind[], problems: readonly string[]) {
    this.#radio = radio;
    this.clock = clock;
    this.#kinds = kinds;
    this.problems = problems;
  }

  /**
   * Starts the radio and waits until it is ready.
   *
   * @throws NoBluetoothError; SeamwiseError for a profile that was named and cannot be used.
   */
  static async open(surroundings: Surroundings, { profile: files = [] }: DeskWords): Promise<RadioDesk> {
    const { dataFolder, bluetoothModule } = surroundings.readConfig();
    const clock = surroundings.clock ?? systemClock;
    const named = files.map(readProfileFile);
    const { profiles, problems } = loadProfiles([path.join(dataFolder, 'profiles'), shippedProfileFolder]);
    const toKind = (profile: (typeof profiles)[number]): KnownKind => ({
      kind: profileKind(profile),
      title: profile.title,
      idOf: (radioId) => (profile.kind === 'board' ? boardSensorId(profile.id, radioId) : null),
    });
    const own: KnownKind = { kind: ownProtocolKind, title: 'Sensor that speaks the stream format', idOf: () => null };
    const kinds = [...named.map(toKind), own, ...profiles.map(toKind)];
    const radio = surroundings.openRadio?.() ?? (await openChildRadio(clock, bluetoothModule));
    const desk = new RadioDesk(radio, clock, kinds, problems);
    try {
      await desk.#ready();
    } catch (error) {
      await radio.close();
      throw error;
    }
    return desk;
  }

  /** Ends everything; what still waits waits no longer, so that no timer keeps the program alive. */
  close(): Promise<void> {
    for (const cancel of this.#waits) cancel();
    this.#waits.clear();
    return this.#radio.close();
  }

  wait(durationS: number): Promise<void> {
    return new Promise((resolve) => {
      const cancel = this.clock.schedule(this.clock.nowS() + durationS, () => {
        this.#waits.delete(cancel);
        resolve();
      });
      this.#waits.add(cancel);
    });
  }

  /** Listens to advertisements, until the time is over or `enough` says so. */
  async lookAround(
    durationS: number,
    enough: (seen: readonly SeenDevice[]) => boolean = () => false,
  ): Promise<readonly SeenDevice[]> {
    const seen = new Map<string, SeenDevice>();
    let finish = (): void => {};
    const over = new Promise<void>((resolve) => {
      finish = resolve;
    });
    const subscription = this.#radio.sightings.subscribe((sighting) => {
      seen.set(sighting.radioId, this.#merge(seen.get(sighting.radioId), sighting));
      if (enough([...seen.values()])) finish();
    });
    this.#radio.scan(true);
    await Promise.race([this.wait(durationS), over]);
    this.#radio.scan(false);
    subscription.unsubscribe();
    return [...seen.values()].sort((one, other) => other.strongestDbm - one.strongestDbm);
  }

  /**
   * @param word radio id, name or sensor id, as `sensors` lists them.
   * @throws SeamwiseError `sensor-not-found`.
   */
  async find(word: string): Promise<SeenDevice> {
    const wanted = word.toLowerCase();
    // Systems write addresses with colons, dashes or nothing between.
    const address = wanted.replaceAll(/[:-]/g, '');
    const fits = ({ radioId, name, sensorId }: SeenDevice): boolean =>
      radioId.toLowerCase().replaceAll(/[:-]/g, '') === address ||
      name?.toLowerCase() === wanted ||
      sensorId === wanted;
    const isSensorId = /^[0-9a-f]{32}$/.test(wanted);
    const seen = await this.lookAround(isSensorId ? longestSearchS / 2 : longestSearchS, (all) => all.some(fits));
    let found = seen.filter(fits);
    if (found.length === 1 && found[0]!.name?.toLowerCase() === wanted) {
      // A name is not one device's alone: another one may just not have been heard yet.
      const more = (await this.lookAround(namesakeS)).filter(fits);
      found = [...found, ...more.filter(({ radioId }) => radioId !== found[0]!.radioId)];
    }
    if (found.length === 1) return found[0]!;
    if (found.length > 1) {
      const ids = found.map(({ radioId }) => radioId).join(', ');
      throw new SeamwiseError(
        'sensor-not-found',
        `${found.length} devices are called "${plainText(word)}": name one by its address, ${ids}`,
      );
    }
    if (isSensorId) {
      // Only its description says which sensor it is.
      for (const device of seen) {
        if (device.kind === null || device.sensorId !== null || !device.connectable) continue;
        if ((await this.readSensorId(device)) === wanted) return device;
      }
    }
    const names = seen.slice(0, 8).map(({ radioId, name }) => (name === null ? radioId : `${radioId} (${name})`));
    const there = names.length === 0 ? 'nothing at all' : names.join(', ');
    throw new SeamwiseError(
      'sensor-not-found',
      `no device "${plainText(word)}" was seen within ${longestSearchS} s; in the air: ${there}. Wake it up, bring it nearer, end what else is connected to it (a running service, a phone), and see "seamwise sensors".`,
    );
  }

  /** @returns the id in a device's description, or null where it could not be read. */
  async readSensorId(device: SeenDevice): Promise<string | null> {
    if (device.kind === null) return null;
    let session: GattSession | null = null;
    try {
      session = await this.#radio.connect(device.radioId);
      return (await device.kind.prepare(session)).sensorId;
    } catch {
      return null;
    } finally {
      await session?.disconnect();
    }
  }

  /**
   * Connects, a few times if need be.
   *
   * @throws SeamwiseError `sensor-not-reached`
   */
  async connect(device: SeenDevice): Promise<GattSession> {
    for (let at = 1; ; at++) {
      try {
        return await this.#radio.connect(device.radioId);
      } catch (error) {
        if (!(error instanceof RadioError) || at >= connectTries) throw notReached(device, error);
        await this.lookAround(2, (seen) => seen.some(({ radioId }) => radioId === device.radioId));
      }
    }
  }

  async #ready(): Promise<void> {
    let cancel = (): void => {};
    await new Promise<void>((resolve, reject) => {
      cancel = this.clock.schedule(this.clock.nowS() + readyWithinS, () =>
        reject(
          new NoBluetoothError(
            `Bluetooth is not available here: the adapter did not get ready within ${readyWithinS} s.`,
            'Switch it off and on again, or unplug it and plug it in.',
          ),
        ),
      );
      this.#radio.states.subscribe((state) => {
        if (state.state === 'ready') resolve();
        else if (state.state === 'unavailable') reject(new NoBluetoothError(state.detail, state.remedy));
      });
      this.#radio.start();
    }).finally(() => cancel());
  }

  #merge(before: SeenDevice | undefined, sighting: Sighting): SeenDevice {
    const serviceUuids = [...new Set([...(before?.serviceUuids ?? []), ...sighting.serviceUuids])];
    const rawName = sighting.name ?? before?.name ?? null;
    const known = this.#kinds.find(({ kind }) => kind.fits({ ...sighting, name: rawName, serviceUuids }));
    return {
      radioId: sighting.radioId,
      name: rawName === null ? null : plainText(rawName),
      serviceUuids,
      connectable: sighting.connectable || before?.connectable === true,
      strongestDbm: Math.max(sighting.rssiDbm, before?.strongestDbm ?? Number.NEGATIVE_INFINITY),
      newestDbm: sighting.rssiDbm,
      advertisements: (before?.advertisements ?? 0) + 1,
      kind: known?.kind ?? null,
      kindTitle: known?.title ?? null,
      sensorId: known?.idOf(sighting.radioId) ?? null,
    };
  }
}

/** @returns how a device is called in texts. */
export function deviceName({ radioId, name }: SeenDevice): string {
  return name === null ? radioId : `${name} (${radioId})`;
}

export function notReached(device: SeenDevice, error: unknown): SeamwiseError {
  const why = error instanceof Error ? (plainText(error.message) ?? 'no reason was given') : 'no reason was given';
  return new SeamwiseError('sensor-not-reached', `${deviceName(device)} cannot be used: ${why}`);
}

async function openChildRadio(
  clock: Clock,
  moduleName: ReturnType<Surroundings['readConfig']>['bluetoothModule'],
): Promise<Radio> {
  // It brings rxjs and a process along, which no other command needs.
  const { ChildRadio } = await import('../../devices/bluetooth/child-radio.ts');
  return new ChildRadio({ clock, ...(moduleName === undefined ? {} : { moduleName }) });
}
