// The part of the night that is shown: arithmetic of zoom and pan, s.

export type Span = [number, number];

/** The narrowest that can be shown, s. */
export const NARROWEST_S = 300;

function within([a, b]: Span, whole: Span): Span {
  const width = Math.min(b - a, whole[1] - whole[0]);
  const start = Math.min(Math.max(a, whole[0]), whole[1] - width);
  return [start, start + width];
}

/** `factor` below 1 shows less; the moment `at` stays where it is. */
export function zoomed(span: Span, whole: Span, at: number, factor: number): Span {
  const now = span[1] - span[0];
  const most = whole[1] - whole[0];
  const width = Math.min(Math.max(now * factor, Math.min(NARROWEST_S, most)), most);
  const share = (at - span[0]) / (now || 1);
  return within([at - share * width, at + (1 - share) * width], whole);
}

export const panned = (span: Span, whole: Span, by_s: number): Span =>
  within([span[0] + by_s, span[1] + by_s], whole);

export const isWhole = (span: Span, whole: Span): boolean =>
  span[1] - span[0] >= (whole[1] - whole[0]) * 0.999;
