import type { Page } from 'playwright-core';

/** Has a page count what it asks the service for, from its next load on, for `settled`. */
export async function countAsked(page: Page): Promise<void> {
  await page.addInitScript(`
    const ask = window.fetch;
    window.asked = { open: 0, begun: 0 };
    window.fetch = async (...words) => {
      asked.begun += 1;
      asked.open += 1;
      try {
        const answer = await ask(...words);
        // Read to its end, so that whoever asked has only what is here already to wait for.
        await answer.clone().arrayBuffer();
        return answer;
      } finally {
        asked.open -= 1;
      }
    };
  `);
}

/**
 * Waits until the screen stands, everything that it asked for has come and is drawn, and it asks for nothing more because of that. Time says
 * none of this: not on a machine that is slow, and not where a step from screen to screen loads nothing.
 */
export async function settled(page: Page): Promise<void> {
  await page.evaluate(`(async () => {
    // What is asked for because of what was drawn is asked for after the next frame.
    const frame = () => new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
    // A screen that is loaded when it is opened is nothing until then, or the word that it is on its way.
    const isThere = () => document.querySelector('main > :not(p[role=status])') !== null;
    const isCalm = () => asked.open === 0 && isThere();
    for (;;) {
      const { begun } = asked;
      const wasCalm = isCalm();
      await frame();
      await frame();
      if (wasCalm && isCalm() && begun === asked.begun) return;
    }
  })()`);
}
