import { Presets, SingleBar } from 'cli-progress';

/** A bar appears only for work that takes longer than this. */
const quietMs = 1500;
/** Nor does it appear for the last bit. */
const nearlyDone = 0.9;
/** Where stderr is no terminal, a line every so often. */
const lineMs = 5000;

/** Shows on stderr how far a long reading is. */
export class Progress {
  readonly #stream: NodeJS.WritableStream;
  readonly #startMs = performance.now();
  #bar: SingleBar | null = null;

  constructor(stream: NodeJS.WritableStream) {
    this.#stream = stream;
  }

  /** @param share 0..1 */
  show(share: number): void {
    if (!this.#bar) {
      if (performance.now() - this.#startMs < quietMs || share > nearlyDone) return;
      const format = 'reading {bar} {percentage} %, {eta_formatted} left';
      this.#bar = new SingleBar(
        {
          stream: this.#stream,
          format,
          noTTYOutput: true,
          notTTYSchedule: lineMs,
          hideCursor: true,
          clearOnComplete: true,
        },
        Presets.legacy,
      );
      this.#bar.start(1000, Math.round(1000 * share));
    }
    this.#bar.update(Math.round(1000 * share));
  }

  stop(): void {
    this.#bar?.stop();
  }
}
