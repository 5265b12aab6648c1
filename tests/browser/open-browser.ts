import { type Browser, chromium } from 'playwright-core';
import { chromiumFlags, chromiumPath, noBrowser } from '../helpers/chromium.ts';

/** What is awaited in a page comes, or nothing does: this only ends what hangs, on a machine however slow or busy. */
const patienceMs = 240_000;

/** Starts the installed Chromium. */
export async function openBrowser(...moreFlags: readonly string[]): Promise<Browser> {
  const executablePath = chromiumPath();
  if (executablePath === null) throw new Error(noBrowser);
  const browser = await chromium.launch({ executablePath, args: [...chromiumFlags, ...moreFlags] });
  browser.on('context', (context) => context.setDefaultTimeout(patienceMs));
  return browser;
}
