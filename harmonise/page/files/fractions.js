// Exact fractions [above, below], for times in crotchets and in beats.

const common = (a, b) => (b ? common(b, a % b) : Math.abs(a));

export function fraction(above, below = 1) {
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
export const add = ([a, b], [c, d]) => fraction(a * d + c * b, b * d);
export const less = ([a, b], [c, d]) => fraction(a * d - c * b, b * d);
export const times = ([a, b], [c, d]) => fraction(a * c, b * d);
export const smaller = (one, other) => (number(one) <= number(other) ? one : other);
export const sum = (many) => many.reduce(add, [0, 1]);

/** The least number that all the fractions' lower parts divide. */
export function lowest(many) {
  return many.reduce((found, [, below]) => (found * below) / common(found, below), 1);
}
