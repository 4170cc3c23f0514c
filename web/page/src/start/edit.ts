// A profile as corners that can be moved: arithmetic only. Hours, °C.
import { corners as courseOf, held } from "../course";
import type { Limits, Profile, Segment } from "../types";

/** Where a segment ends. */
export interface Corner {
  segment: number;
  h: number;
  c: number;
}

/** Snapped to, so that what is drawn is what one would type. */
const STEP_C = 0.5;
const STEP_H = 1 / 12;
const SHORTEST_SOAK_H = 0.25;
const LONGEST_SOAK_H = 72;
const COOLEST_C = 0;

export const highestC = (limits: Limits): number => limits.hottest_soak_c;

/** The ends of the segments, from a start at `start_c`; the start itself comes first, as -1. */
export function cornersOf(segments: Segment[], start_c: number): Corner[] {
  const found: Corner[] = [{ segment: -1, h: 0, c: start_c }];
  segments.forEach((_, i) => {
    const course = courseOf(segments.slice(0, i + 1), start_c);
    const [h, c] = course[course.length - 1]!;
    found.push({ segment: i, h, c });
  });
  return found;
}

const clamp = (v: number, low: number, high: number): number => Math.min(Math.max(v, low), high);
const snap = (v: number, step: number): number => +(Math.round(v / step) * step).toFixed(4);
const tenth = (v: number): number => Math.max(+v.toFixed(1), 0.1);

/** The rate that covers `by_c` in `hours`, as a limit allows. */
const rateFor = (by_c: number, hours: number, limits: Limits): number =>
  tenth(clamp(Math.abs(by_c) / Math.max(hours, STEP_H), 0.1, limits.ramp_c_per_h));

/** The end of a segment moved to `h` and `c`, as far as this oven's limits let it. */
export function moved(segments: Segment[], index: number, h: number, c: number, start_c: number, limits: Limits): Segment[] {
  const next = segments.slice();
  const s = segments[index]!;
  const from = cornersOf(segments, start_c)[index]!;
  const to_c = snap(clamp(c, COOLEST_C, highestC(limits)), STEP_C);
  if (s.kind === "ramp") {
    const by = to_c - from.c;
    const rate = Math.abs(by) < STEP_C / 2 ? s.rate_c_per_h : rateFor(by, snap(h - from.h, STEP_H), limits);
    next[index] = { ...s, to_c, rate_c_per_h: rate };
    const after = segments[index + 1];
    if (held(s, after)) next[index + 1] = { ...after, at_c: to_c };
  } else if (s.kind === "soak") {
    const before = segments[index - 1];
    if (held(before, s) && before?.kind === "ramp") next[index - 1] = { ...before, to_c };
    const begins_h = cornersOf(next, start_c)[index]!.h;
    const hours = clamp(snap(h - begins_h, STEP_H * 3), SHORTEST_SOAK_H, LONGEST_SOAK_H);
    next[index] = { ...s, at_c: to_c, hours };
  } else {
    const below = Math.min(to_c, from.c - STEP_C);
    next[index] = { ...s, below_c: below, rate_c_per_h: rateFor(from.c - below, snap(h - from.h, STEP_H), limits) };
  }
  return next;
}

/** A segment with other numbers; a soak that follows its ramp goes along. */
export function changed(segments: Segment[], index: number, change: Partial<Segment>): Segment[] {
  const s = segments[index]!;
  const next = segments.slice();
  const now = (next[index] = { ...s, ...change } as Segment);
  const after = segments[index + 1];
  const before = segments[index - 1];
  if (held(s, after) && now.kind === "ramp") next[index + 1] = { ...after, at_c: now.to_c };
  if (s.kind === "soak" && before?.kind === "ramp" && held(before, s) && now.kind === "soak") {
    next[index - 1] = { ...before, to_c: now.at_c };
  }
  return next;
}

/** Another ramp and soak, before a cool-down that ends the night. */
export function withStage(segments: Segment[], limits: Limits): Segment[] {
  const cool = segments[segments.length - 1]?.kind === "cool" ? segments.slice(-1) : [];
  const rest = segments.slice(0, segments.length - cool.length);
  const last = rest[rest.length - 1];
  const now_c = last === undefined ? 20 : last.kind === "soak" ? last.at_c : last.kind === "ramp" ? last.to_c : 20;
  const to_c = Math.min(now_c + 10, highestC(limits));
  const rate_c_per_h = Math.min(12, limits.ramp_c_per_h);
  return [...rest, { kind: "ramp", to_c, rate_c_per_h }, { kind: "soak", at_c: to_c, hours: 2 }, ...cool];
}

export const withCool = (segments: Segment[], limits: Limits): Segment[] => [
  ...segments,
  { kind: "cool", rate_c_per_h: Math.min(20, limits.ramp_c_per_h), below_c: 25 },
];

/** What a first drawing starts from: one ramp, one soak, a cool-down. */
export const blank = (limits: Limits): Profile => ({
  name: "My night",
  lag_c: 5,
  band_c: 2,
  segments: withCool(withStage([], limits), limits),
});
