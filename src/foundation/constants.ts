/** Standard acceleration of gravity, m/s² (3rd CGPM, 1901). */
export const standardGravityMps2 = 9.80665;

/** 90 % of a normal distribution lies within this many standard deviations of its mean. */
export const normal90 = 1.6448536269514722;
