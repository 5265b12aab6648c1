/** The screens of the page, by the part of its address behind "#". */
export const screens = ['court', 'bench', 'coaching', 'live', 'sessions', 'devices', 'settings'] as const;
/** Screens that others lead to. */
export const asides = ['cautions', 'start', 'help', 'compare', 'import', 'export', 'live-signals'] as const;
/** Screens of one session, which the address names. */
export const ofSession = ['session', 'signals'] as const;
export type Screen = (typeof screens)[number];

export type Route =
  | { readonly screen: Screen | (typeof asides)[number] }
  | { readonly screen: 'pair'; readonly code: string | null }
  | { readonly screen: (typeof ofSession)[number]; readonly sessionId: string };

const sessionWord = new RegExp(`^(${ofSession.join('|')})=([\\w.-]{1,60})$`);

/** @param hash as the browser has it, with or without its "#"; anything unknown leads to the first screen. */
export function routeOf(hash: string): Route {
  const word = hash.replace(/^#\/?/, '');
  const pairing = /^pair(?:=(\d{6}))?$/.exec(word);
  if (pairing) return { screen: 'pair', code: pairing[1] ?? null };
  const session = sessionWord.exec(word);
  const screenOfSession = ofSession.find((name) => name === session?.[1]);
  if (screenOfSession && session?.[2] !== undefined) return { screen: screenOfSession, sessionId: session[2] };
  const screen = [...screens, ...asides].find((name) => name === word);
  return { screen: screen ?? 'live' };
}

export function hrefOf(screen: Exclude<Route['screen'], (typeof ofSession)[number]>): string {
  return `#${screen}`;
}

export function hrefOfSession(sessionId: string): string {
  return `#session=${sessionId}`;
}

export function hrefOfSignals(sessionId: string): string {
  return `#signals=${sessionId}`;
}
