/** Work that may rest wherever it yields, while other work is done; nothing of it lies in shared memory there. */
export type RestingWork<T> = Generator<undefined, T, undefined>;

/** @returns the result of work that need not rest. */
export function atOnce<T>(work: RestingWork<T>): T {
  for (;;) {
    const step = work.next();
    if (step.done) return step.value;
  }
}

/** Work under way: done piece by piece ahead of time, or what is left of it when its result is asked for. */
export class WorkUnderWay<T> {
  readonly #work: RestingWork<T>;
  #end: { readonly value: T } | { readonly error: unknown } | null = null;

  constructor(work: RestingWork<T>) {
    this.#work = work;
  }

  get done(): boolean {
    return this.#end !== null;
  }

  /** Does the next piece. What goes wrong with it is told when the result is asked for, as if it were only done then. */
  advance(): void {
    if (this.#end !== null) return;
    try {
      const step = this.#work.next();
      if (step.done) this.#end = { value: step.value };
    } catch (error) {
      this.#end = { error };
    }
  }

  /** Does all that is left. */
  result(): T {
    while (this.#end === null) this.advance();
    if ('error' in this.#end) throw this.#end.error;
    return this.#end.value;
  }
}
