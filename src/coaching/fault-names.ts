/** Every fault that a rule can name. */
export const faultNames = [
  'off-hand-push',
  'side-flick',
  'low-finish',
  'hard-flat-touch',
  'weak-backspin',
  'slow-pickup',
  'two-part',
  'across-body',
  'deep-dip',
  'short-follow-through',
  'turn-in-air',
  'off-line-push',
  'uneven-starts',
  'tired-drift',
  'out-of-range',
] as const;
export type FaultName = (typeof faultNames)[number];
