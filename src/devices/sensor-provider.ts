import type { Observable } from 'rxjs';
import type { NotificationSource } from './notification-source.ts';

/** Which sensors a caller wants; all that can be had with `any`. Ids are those of the sensors' descriptions. */
export type WantedSensors = 'any' | readonly string[];

/** Something that could be opened, as it was seen last. Names come from strangers: show them, never believe them. */
export interface DiscoveredSensor {
  /** How the provider calls it while it is in the air: a radio address, or a number the system made up. Not an identity. */
  readonly radioId: string;
  /** Stable id of its description, once it was connected; null before. */
  readonly sensorId: string | null;
  readonly name: string | null;
  /** Name of the device kind that fits, or null when none does. */
  readonly kindName: string | null;
  /** Received signal strength, or null where the provider has none. */
  readonly rssiDbm: number | null;
  readonly hostTimeS: number;
}

/** What a sensor says about itself beside the stream. `null` where it does not say it. */
export interface SensorInformation {
  readonly sensorId: string;
  readonly name: string | null;
  readonly kindName: string;
  /** Battery Service 0x180F, 0..100. */
  readonly batteryPercent: number | null;
  /** Device Information Service 0x180A. */
  readonly manufacturer: string | null;
  readonly model: string | null;
  readonly serialNumber: string | null;
  readonly hardwareRevision: string | null;
  readonly firmwareRevision: string | null;
  readonly softwareRevision: string | null;
  readonly rssiDbm: number | null;
}

/** Why a provider can do nothing at all. */
export const unavailableReasons = [
  'no-package',
  'package-broken',
  'no-kernel-support',
  'no-adapter',
  'adapter-off',
  'adapter-unsupported',
  'permission-missing',
  'process-dies',
  'no-page',
] as const;
export type UnavailableReason = (typeof unavailableReasons)[number];

/** State of the provider as a whole, apart from any one sensor. */
export type ProviderState =
  | { readonly state: 'starting' | 'searching' | 'ready' | 'closed'; readonly detail: string | null }
  | {
      readonly state: 'unavailable';
      readonly reason: UnavailableReason;
      /** What is wrong, in one sentence. */
      readonly detail: string;
      /** What to do about it on this system, in one sentence. */
      readonly remedy: string;
    };

export const providerKinds = ['simulated', 'replayed', 'bluetooth', 'browser'] as const;
export type ProviderKind = (typeof providerKinds)[number];

/**
 * Where notifications come from: a simulated sensor, a recording, the radio of this machine or that of a browser, all
 * alike. Callers say which sensors they want; the provider finds, connects, subscribes, watches and reconnects, for
 * ever, and tells every change as an event. Nothing throws and nothing errors because a sensor or a radio is missing.
 */
export interface SensorProvider extends NotificationSource {
  readonly kind: ProviderKind;
  /** The present state comes at once to each that subscribes. Completes after `closed`. */
  readonly providerStates: Observable<ProviderState>;
  /** What each sensor says about itself; the present knowledge of all comes at once to each that subscribes. */
  readonly information: Observable<SensorInformation>;
  /** Looks around for as long as somebody subscribes; one emission a change. */
  discover(): Observable<DiscoveredSensor>;
  /** Declares which sensors are wanted from now on. Takes the place of what was declared before. */
  open(wanted: WantedSensors): void;
  /**
   * Makes a sensor blink.
   *
   * @throws SeamwiseError `sensor-not-connected` or `sensor-cannot-identify`.
   */
  identify(sensorId: string): Promise<void>;
  /** Ends everything for good; safe to call twice. */
  close(): Promise<void>;
}
