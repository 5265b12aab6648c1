import { wilsonInterval } from '../study/proportion-interval.ts';
import { percent } from './report-page.ts';

/** @returns makes with the interval that so few shots leave: `12 of 20, 60 % (40–77 %)`. */
export function madeText({ makes, attempts }: { readonly makes: number; readonly attempts: number }): string {
  const [low, high] = wilsonInterval(makes, attempts, 0.9);
  return `${makes} of ${attempts}, ${percent(makes / attempts)} (${Math.round(100 * low)}–${percent(high)})`;
}
