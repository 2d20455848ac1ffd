// Exact fractions [above, below], for times in crotchets.

const common = (a, b) => (b ? common(b, a % b) : Math.abs(a));

function fraction(above, below = 1) {
  const shared = common(above, below) || 1;
  return [above / shared, below / shared];
}

/** Read "7/2" or "3". */
export function parse(text) {
  const [above, below = "1"] = String(text).split("/");
  return fraction(Number(above), Number(below));
}

export const format = ([above, below]) => (below === 1 ? `${above}` : `${above}/${below}`);
export const number = ([above, below]) => above / below;
export const times = ([a, b], [c, d]) => fraction(a * c, b * d);
