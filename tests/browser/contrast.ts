/** Runs in the page. Contrast of each text against what lies behind it, by the formula of WCAG 2.2. */
export const contrastRatios = `(() => {
  const parse = (color) => color.match(/[\\d.]+/g).map(Number);
  const luminance = (color) => {
    const [r, g, b] = parse(color).slice(0, 3).map((value) => {
      const part = value / 255;
      return part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const background = (element) => {
    for (let at = element; at; at = at.parentElement) {
      const color = getComputedStyle(at).backgroundColor;
      if (parse(color)[3] !== 0) return color;
    }
    return 'rgb(255, 255, 255)';
  };
  const ratios = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const element = walker.currentNode.parentElement;
    if (!walker.currentNode.data.trim() || element.closest('.unseen, noscript')) continue;
    const style = getComputedStyle(element);
    const text = element.closest('svg') ? style.fill : style.color;
    const [high, low] = [luminance(text), luminance(background(element))].sort((a, b) => b - a);
    ratios.push([walker.currentNode.data, (high + 0.05) / (low + 0.05)]);
  }
  return ratios;
})()`;
