/** @returns the next number of a seeded sequence, from 0 to below 1. */
export type UniformSource = () => number;
