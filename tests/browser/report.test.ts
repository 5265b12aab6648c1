import { AxeBuilder } from '@axe-core/playwright';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { audiences } from '../../src/reports/report-input.ts';
import { sessionReport } from '../../src/reports/session-report.ts';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { madeSession } from '../helpers/made-report.ts';
import { openBrowser } from './open-browser.ts';

const executablePath = chromiumPath();
const title = executablePath === null ? `reports in a browser (${noBrowser})` : 'reports in a browser';

describe.skipIf(executablePath === null)(title, () => {
  let browser: Browser;
  beforeAll(async () => {
    browser = await openBrowser();
  });
  afterAll(() => browser?.close());

  test.each(audiences)('for a %s it can be read on a phone, by everybody, and printed', async (audience) => {
    const context = await browser.newContext({ viewport: { width: 390, height: 844 } });
    const page = await context.newPage();
    const asked: string[] = [];
    page.on('request', (request) => asked.push(request.url()));
    await page.setContent(sessionReport(madeSession(16, { audience })));
    expect(asked).toEqual([]);
    const { violations } = await new AxeBuilder({ page })
      .withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'])
      .analyze();
    expect(violations.flatMap(({ id, nodes }) => nodes.map(({ html }) => `${id}: ${html.slice(0, 140)}`))).toEqual([]);
    // Tables may be wider than a phone; they are pushed sideways within themselves, the page is not.
    expect(await page.evaluate('document.documentElement.scrollWidth')).toBe(390);
    const paper = await page.pdf({ format: 'A4' });
    const pages = paper.toString('latin1').match(/\/Type\s*\/Page\b/g)?.length ?? 0;
    expect(pages).toBeGreaterThanOrEqual(1);
    expect(pages).toBeLessThanOrEqual(audience === 'parent' ? 2 : 8);
    await context.close();
  });
});
