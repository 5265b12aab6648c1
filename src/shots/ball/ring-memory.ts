/** What the shots of a session have told of the ring's height above release. */
export interface RingMemory {
  readonly count: number;
  readonly meanM: number;
  /** Sum of the squares about the mean, m². */
  readonly squaresM2: number;
}

export const noRingMemory: RingMemory = { count: 0, meanM: 0, squaresM2: 0 };
