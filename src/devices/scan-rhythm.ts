/** Seconds of looking around and of rest while a sensor streams: scanning takes air time from the connections. */
const onS = 3;
const shortestRestS = 2;
const longestRestS = 16;

/** When to look around: all the time while nothing streams, else in turns that grow rarer. */
export class ScanRhythm {
  #startS = 0;

  /** Begins with a look around. */
  restart(nowS: number): void {
    this.#startS = nowS;
  }

  /** True in the first turn after the restart. */
  isFirst(nowS: number): boolean {
    return nowS - this.#startS < onS;
  }

  isOn(nowS: number, streaming: boolean): boolean {
    if (!streaming) return true;
    let leftS = nowS - this.#startS;
    for (let restS = shortestRestS; ; restS = Math.min(longestRestS, 2 * restS)) {
      if (leftS < onS) return true;
      leftS -= onS;
      if (leftS < restS) return false;
      leftS -= restS;
      // From the longest rest on the turns repeat.
      if (restS === longestRestS) return leftS % (onS + longestRestS) < onS;
    }
  }
}
