import { asides, ofSession, type Route, screens } from '../../src/dashboard/route.ts';

/**
 * The address of every screen that the router knows. A screen that is added there is tried by every test that goes through these, in all
 * of its states.
 *
 * @param sessionId of which the screens of one session are opened.
 */
export function everyScreen(sessionId: string): readonly string[] {
  type Listed = (typeof screens | typeof asides | typeof ofSession)[number];
  // A kind of screen that stands in none of the lists does not get past the compiler here.
  const others: Record<Exclude<Route['screen'], Listed>, true> = { pair: true };
  return [...screens, ...asides, ...Object.keys(others), ...ofSession.map((name) => `${name}=${sessionId}`)];
}

/** @returns the name of the screen that an address leads to. */
export function screenOf(hash: string): string {
  return hash.replace(/=.*/, '');
}
