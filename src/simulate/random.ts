/**
 * Seeded random numbers of the simulator: the same seed gives the same stream, bit for bit.
 *
 * Generator: sfc32 (C. Doty-Humphrey, PractRand, "small fast counting" 32-bit generator, period at least 2^32).
 * Seeding: FNV-1a (Fowler, Noll, Vo) over the label, finished with the 32-bit finaliser of MurmurHash3 (A. Appleby).
 * Normal numbers: polar method (Marsaglia and Bray 1964, SIAM Review 6:260).
 */
export class Random {
  #a: number;
  #b: number;
  #c: number;
  #counter = 1;
  #spare: number | null = null;
  readonly #key: string;

  /** @param seed any text; numbers are written out. */
  constructor(seed: string | number) {
    this.#key = String(seed);
    const hash = fnv1a(this.#key);
    this.#a = finalise(hash);
    this.#b = finalise(hash ^ 0x9e3779b9);
    this.#c = finalise(hash ^ 0x85ebca6b);
    for (let i = 0; i < 15; i++) this.nextUint32();
  }

  /** A new stream that depends on this one's seed and the label only, not on how much was drawn from this one. */
  fork(label: string | number): Random {
    return new Random(`${this.#key}/${label}`);
  }

  nextUint32(): number {
    const sum = (((this.#a + this.#b) | 0) + this.#counter) | 0;
    this.#counter = (this.#counter + 1) | 0;
    this.#a = this.#b ^ (this.#b >>> 9);
    this.#b = (this.#c + (this.#c << 3)) | 0;
    this.#c = (((this.#c << 21) | (this.#c >>> 11)) + sum) | 0;
    return sum >>> 0;
  }

  /** Uniform in [0, 1), 53 bits. */
  unit(): number {
    const high = this.nextUint32() >>> 5;
    const low = this.nextUint32() >>> 6;
    return (high * 67108864 + low) / 9007199254740992;
  }

  /** Uniform in [from, to). */
  between(from: number, to: number): number {
    return from + (to - from) * this.unit();
  }

  /** Whole number in [from, to], both included. */
  whole(from: number, to: number): number {
    return from + Math.floor((to - from + 1) * this.unit());
  }

  chance(probability: number): boolean {
    return this.unit() < probability;
  }

  pick<T>(choices: readonly [T, ...T[]]): T {
    return choices[Math.floor(this.unit() * choices.length)] as T;
  }

  /** Picks by weight; the weights need not add up to one. */
  pickWeighted<T>(choices: readonly (readonly [T, number])[]): T {
    let total = 0;
    for (const [, weight] of choices) total += weight;
    let left = this.unit() * total;
    for (const [choice, weight] of choices) {
      left -= weight;
      if (left < 0) return choice;
    }
    const last = choices[choices.length - 1];
    if (!last) throw new RangeError('pickWeighted needs at least one choice, got none');
    return last[0];
  }

  normal(mean = 0, standardDeviation = 1): number {
    if (this.#spare !== null) {
      const value = this.#spare;
      this.#spare = null;
      return mean + standardDeviation * value;
    }
    for (;;) {
      const u = 2 * this.unit() - 1;
      const v = 2 * this.unit() - 1;
      const square = u * u + v * v;
      if (square >= 1 || square === 0) continue;
      const factor = Math.sqrt((-2 * Math.log(square)) / square);
      this.#spare = v * factor;
      return mean + standardDeviation * u * factor;
    }
  }

  /** Normal, drawn again while it lies more than `limit` standard deviations out. */
  boundedNormal(mean: number, standardDeviation: number, limit = 2.5): number {
    for (;;) {
      const value = this.normal();
      if (Math.abs(value) <= limit) return mean + standardDeviation * value;
    }
  }

  exponential(mean: number): number {
    return -mean * Math.log(1 - this.unit());
  }

  /** A direction uniform on the sphere. */
  direction(): [number, number, number] {
    const z = this.between(-1, 1);
    const azimuth = this.between(0, 2 * Math.PI);
    const flat = Math.sqrt(Math.max(0, 1 - z * z));
    return [flat * Math.cos(azimuth), flat * Math.sin(azimuth), z];
  }

  /** A rotation uniform over all rotations, as unit quaternion w x y z (Shoemake 1992, Graphics Gems III). */
  rotation(): [number, number, number, number] {
    const u = this.unit();
    const first = 2 * Math.PI * this.unit();
    const second = 2 * Math.PI * this.unit();
    const low = Math.sqrt(1 - u);
    const high = Math.sqrt(u);
    return [high * Math.cos(second), low * Math.sin(first), low * Math.cos(first), high * Math.sin(second)];
  }
}

function fnv1a(text: string): number {
  let hash = 0x811c9dc5;
  for (let i = 0; i < text.length; i++) {
    hash ^= text.charCodeAt(i);
    hash = Math.imul(hash, 0x01000193);
  }
  return hash | 0;
}

function finalise(value: number): number {
  let h = value | 0;
  h = Math.imul(h ^ (h >>> 16), 0x85ebca6b);
  h = Math.imul(h ^ (h >>> 13), 0xc2b2ae35);
  return (h ^ (h >>> 16)) | 0;
}
