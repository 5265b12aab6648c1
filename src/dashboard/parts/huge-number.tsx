/** Widths in parts of the height of a digit; every font is fitted to them, so that no number is ever wider. */
const digitWidth = 0.78;
const markWidth = 0.4;
/** Of the height of a digit, the size of the font that has it: capitals and digits stand about 0.73 of it high. */
const fontSize = 1.36;

/**
 * A number whose digits fill a given height. Where the place is too narrow they are made narrower, never lower: what
 * counts on a court is how high they are.
 */
export function HugeNumber({ text }: { readonly text: string }) {
  const width = [...text].reduce((sum, mark) => sum + (/\d/.test(mark) ? digitWidth : markWidth), 0);
  return (
    <svg
      class={/\d/.test(text) ? 'huge-number' : 'huge-number huge-none'}
      viewBox={`0 0 ${100 * width} 102`}
      preserveAspectRatio="none"
      style={`--aspect: ${width.toFixed(3)}`}
      role="img"
      aria-label={text}
    >
      <text x="0" y="100" font-size={100 * fontSize} textLength={100 * width} lengthAdjust="spacingAndGlyphs">
        {text}
      </text>
    </svg>
  );
}
