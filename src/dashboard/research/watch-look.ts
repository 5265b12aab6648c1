/**
 * Calls back whenever what is drawn on a canvas has to be drawn anew: another size of its box, or other colours.
 *
 * @returns ends it.
 */
export function watchLook(box: Element, redraw: () => void): () => void {
  const sizes = new ResizeObserver(redraw);
  sizes.observe(box);
  const themes = new MutationObserver(redraw);
  themes.observe(document.documentElement, { attributes: true, attributeFilter: ['data-theme'] });
  const dark = window.matchMedia('(prefers-color-scheme: dark)');
  dark.addEventListener('change', redraw);
  return () => {
    sizes.disconnect();
    themes.disconnect();
    dark.removeEventListener('change', redraw);
  };
}
