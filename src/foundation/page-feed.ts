/**
 * What goes between the service and a page that holds sensors by the browser's own Bluetooth, over a WebSocket. JSON
 * texts are these messages. Notifications are binary: slot (u8), time of receipt in milliseconds on the page's clock
 * (f64, little-endian), then the bytes exactly as they came.
 *
 * A slot is the page's number for one sensor, 0 to 255. Bytes in texts are base64.
 */
export type FromPage =
  | { readonly kind: 'time'; readonly number: number; readonly pageMs: number }
  | { readonly kind: 'unavailable'; readonly detail: string; readonly remedy: string }
  | { readonly kind: 'connecting'; readonly slot: number; readonly name: string | null }
  | {
      readonly kind: 'opened';
      readonly slot: number;
      readonly name: string | null;
      readonly description: string;
      readonly canIdentify: boolean;
    }
  | { readonly kind: 'information'; readonly slot: number; readonly values: Readonly<Record<string, string>> }
  | { readonly kind: 'lost'; readonly slot: number; readonly why: string }
  | { readonly kind: 'answer'; readonly call: number; readonly bytes: string | null; readonly problem: string | null };

export type ToPage =
  | { readonly kind: 'welcome'; readonly layout: PageGattLayout }
  | { readonly kind: 'time'; readonly number: number }
  | { readonly kind: 'refused'; readonly slot: number; readonly why: string }
  /** Write these bytes to the control characteristic and read the answer. */
  | { readonly kind: 'control'; readonly slot: number; readonly call: number; readonly bytes: string };

/** Where the page finds what, as UUIDs: four hex digits or 128 bits with dashes. */
export interface PageGattLayout {
  readonly service: string;
  readonly stream: string;
  readonly description: string;
  readonly control: string;
  /** Characteristics of standard services that are read once, by the names of `information`. */
  readonly information: readonly { readonly name: string; readonly service: string; readonly characteristic: string }[];
}

export const packetHeaderBytes = 9;
