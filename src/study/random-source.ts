/** Where chance comes from. Handed in, so that every draw can be repeated. */
export interface RandomSource {
  /** Uniform in [0, 1). */
  unit(): number;
}

/** Puts a list into random order, in place (Fisher and Yates; Durstenfeld 1964, Algorithm 235; from memory). */
export function shuffle<T>(list: T[], random: RandomSource): T[] {
  for (let i = list.length - 1; i > 0; i--) {
    const j = Math.floor((i + 1) * random.unit());
    [list[i], list[j]] = [list[j] as T, list[i] as T];
  }
  return list;
}
