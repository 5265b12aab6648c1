import { AxeBuilder } from '@axe-core/playwright';
import type { Page } from 'playwright-core';

/**
 * What axe finds against WCAG 2.2 AA, all rules on. The window is made as high as the page meanwhile: the line of cautions stays at a window's lower
 * edge, and what just happens to lie half beneath its link, until somebody scrolls, would be told as too small a target.
 */
export async function axeFindings(page: Page): Promise<string[]> {
  const window = page.viewportSize();
  const pageHeight = await page.evaluate<number>('document.documentElement.scrollHeight');
  const isHigher = window !== null && pageHeight > window.height;
  if (isHigher) {
    await page.setViewportSize({ width: window.width, height: pageHeight });
    await page.evaluate('new Promise((drawn) => requestAnimationFrame(() => requestAnimationFrame(drawn)))');
  }
  try {
    const { violations } = await new AxeBuilder({ page })
      .withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'])
      .analyze();
    return violations.flatMap(({ id, nodes }) => nodes.map(({ html }) => `${id}: ${html.slice(0, 140)}`));
  } finally {
    if (isHigher) await page.setViewportSize(window);
  }
}

/**
 * @returns what stands beyond the edge of the page, or is cut off by the box that holds it. Boxes that scroll by themselves may be wider
 * than they show; what is only for ears is small on purpose.
 */
export function cutOff(page: Page): Promise<string[]> {
  return page.evaluate(`(() => {
    const found = [];
    const width = document.documentElement.clientWidth;
    if (document.documentElement.scrollWidth > width) found.push('the page is ' + document.documentElement.scrollWidth + ' wide');
    const scrolls = (element) => {
      for (let one = element; one; one = one.parentElement) {
        if (/auto|scroll/.test(getComputedStyle(one).overflowX) && one !== document.documentElement) return true;
      }
      return false;
    };
    for (const element of document.querySelectorAll('#page *, dialog[open] *')) {
      // What runs by beneath a window is seen through it alone.
      if (element.closest('.unseen, option, svg, .stage-mover')) continue;
      const own = [...element.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim() !== '');
      if (!own) continue;
      const box = element.getBoundingClientRect();
      if (box.width === 0 || scrolls(element)) continue;
      const name = element.tagName + ' ' + element.textContent.trim().slice(0, 60);
      if (box.right > width + 1 || box.left < -1) found.push('beyond the edge: ' + name);
      const { overflowX, display } = getComputedStyle(element);
      if (display !== 'inline' && overflowX !== 'visible' && element.scrollWidth > element.clientWidth + 1) found.push('cut off: ' + name);
      // A turned arrow beside the text reaches beyond its box by a hair.
      if (/^(BUTTON|A)$/.test(element.tagName) && display !== 'inline' && element.scrollWidth > element.clientWidth + 4) found.push('too long: ' + name);
    }
    return [...new Set(found)];
  })()`);
}

/** @returns texts that no catalogue gave, while the page speaks the language that marks its own. */
export function textsOutside(page: Page): Promise<string[]> {
  return page.evaluate(`(() => {
    // Signs of units are those of every language; names, times and numbers are data.
    const allowed = /^(s|ms|cm|m|m\\/s|rev\\/s|°|°\\/s|%|in|ft|ft\\/s|rpm|–|…|[?()±−+.,:;°%·–\\s\\d]*|[A-Z][a-z]{2} \\d{1,2}, \\d{4}.*)$/;
    const isData = (element) => element.closest('[data-from], option[value*="-"], .unseen svg') !== null;
    const found = [];
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {
      const element = node.parentElement;
      if (!element || element.closest('noscript, script, style') || isData(element)) continue;
      const text = node.textContent.trim();
      if (text === '' || allowed.test(text) || /[⟦⟧]/.test(text)) continue;
      found.push(text.slice(0, 80));
    }
    for (const element of document.querySelectorAll('[aria-label], [title], [placeholder]')) {
      for (const name of ['aria-label', 'title', 'placeholder']) {
        const text = element.getAttribute(name);
        if (text !== null && text !== '' && !/[⟦⟧]/.test(text) && !allowed.test(text)) found.push(name + ': ' + text.slice(0, 80));
      }
    }
    return [...new Set(found)];
  })()`);
}

/** @returns boxes of the page that are wider than they show; those that keys reach, and the others. */
export function pushedSideways(page: Page): Promise<{ readonly byKeys: string[]; readonly byNone: string[] }> {
  return page.evaluate(`(() => {
    const wide = [...document.querySelectorAll('#page *')].filter(
      (element) => /auto|scroll/.test(getComputedStyle(element).overflowX) && element.scrollWidth > element.clientWidth + 1,
    );
    const name = (element) => (element.getAttribute('aria-label') ?? element.className) + ' ' + element.scrollWidth + ' wide';
    return {
      byKeys: wide.filter((element) => element.tabIndex >= 0).map(name),
      byNone: wide.filter((element) => element.tabIndex < 0).map(name),
    };
  })()`);
}
