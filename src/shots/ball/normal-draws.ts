/** Half the number of draws (each is taken with both signs), and how many independent things each may move. */
export const drawCount = 48;
export const widestDraw = 44;

let table: Float64Array | null = null;

/**
 * The same 48 × 44 standard normal numbers at every call, row by row. Their columns are made orthogonal with a mean square of one,
 * so that what is linear in them has exactly its variance.
 */
export function normalDraws(): Float64Array {
  table ??= makeDraws();
  return table;
}

function makeDraws(): Float64Array {
  const draws = new Float64Array(drawCount * widestDraw);
  const unit = uniforms();
  for (let i = 0; i < draws.length; i += 2) {
    // Box and Muller 1958, Ann. Math. Statist. 29:610.
    const size = Math.sqrt(-2 * Math.log(1 - unit()));
    const angle = 2 * Math.PI * unit();
    draws[i] = size * Math.cos(angle);
    draws[i + 1] = size * Math.sin(angle);
  }
  for (let c = 0; c < widestDraw; c++) {
    const at = (row: number, column: number) => draws[row * widestDraw + column] as number;
    for (let earlier = 0; earlier < c; earlier++) {
      let product = 0;
      for (let row = 0; row < drawCount; row++) product += at(row, c) * at(row, earlier);
      for (let row = 0; row < drawCount; row++) {
        draws[row * widestDraw + c] = at(row, c) - (product / drawCount) * at(row, earlier);
      }
    }
    let square = 0;
    for (let row = 0; row < drawCount; row++) square += at(row, c) ** 2;
    const scale = Math.sqrt(drawCount / square);
    for (let row = 0; row < drawCount; row++) draws[row * widestDraw + c] = at(row, c) * scale;
  }
  return draws;
}

/** Lehmer's generator with the multiplier of Park and Miller 1988 (Commun. ACM 31:1192), numbers in [0, 1). */
function uniforms(): () => number {
  let state = 20_260_101;
  return () => {
    state = (state * 16_807) % 2_147_483_647;
    return state / 2_147_483_647;
  };
}
