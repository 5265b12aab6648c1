import { existsSync } from 'node:fs';

/** What a test that needs a browser says in its name where none is installed. */
export const noBrowser = 'skipped: no browser';

/** Flags under which a headless Chromium starts quietly as any user and calls nobody. */
export const chromiumFlags: readonly string[] = [
  '--headless',
  '--no-sandbox',
  '--disable-gpu',
  '--disable-quic',
  '--no-first-run',
  '--disable-background-networking',
  '--disable-component-update',
  '--disable-sync',
];

/** @returns path of an installed Chromium (CHROMIUM_PATH first), or null */
export function chromiumPath(): string | null {
  const candidates = [
    process.env.CHROMIUM_PATH,
    '/usr/bin/chromium',
    '/usr/bin/chromium-browser',
    '/usr/bin/google-chrome',
  ];
  return candidates.find((file) => file !== undefined && existsSync(file)) ?? null;
}
