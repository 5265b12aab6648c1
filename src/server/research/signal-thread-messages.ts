import type { SensorSetup } from '../../live/sensor-setup.ts';
import type { WireSignalStream } from '../wire/signal-document.ts';
import type { WindowQuestion } from './encode-window.ts';

/** To the thread that holds samples. */
export type ToSignalThread =
  | {
      readonly kind: 'open';
      readonly id: number;
      readonly key: string;
      readonly file: string;
      readonly startedS: number;
      readonly setups: Readonly<Record<string, SensorSetup>>;
    }
  | { readonly kind: 'window'; readonly id: number; readonly key: string; readonly question: WindowQuestion }
  | { readonly kind: 'close'; readonly key: string };

/** And back. */
export type FromSignalThread =
  | { readonly kind: 'share'; readonly key: string; readonly share: number }
  | { readonly kind: 'opened'; readonly id: number; readonly streams: readonly WireSignalStream[] }
  | { readonly kind: 'window'; readonly id: number; readonly bytes: ArrayBuffer }
  | { readonly kind: 'failed'; readonly id: number; readonly message: string };
