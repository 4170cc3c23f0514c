// The course a profile takes: its corners from a cold start, and what is still ahead tonight.
import type { Live, Segment } from "./types";

export type Corner = [number, number];

/** Where a segment ends, from where it begins: hours and °C. */
function end(s: Segment, from_c: number): { hours: number; to_c: number } {
  if (s.kind === "ramp") return { hours: Math.abs(s.to_c - from_c) / s.rate_c_per_h, to_c: s.to_c };
  if (s.kind === "soak") return { hours: s.hours, to_c: s.at_c };
  return { hours: Math.max(0, from_c - s.below_c) / s.rate_c_per_h, to_c: Math.min(from_c, s.below_c) };
}

/** Time (h) and temperature (°C) at the corners of a profile, from a start. */
export function corners(segments: Segment[], start_c: number): Corner[] {
  const points: Corner[] = [[0, start_c]];
  let h = 0;
  let c = start_c;
  for (const s of segments) {
    const { hours, to_c } = end(s, c);
    if (s.kind === "soak" && to_c !== c) points.push([h, to_c]);
    h += hours;
    c = to_c;
    points.push([h, c]);
  }
  return points;
}

/** The planned setpoint from now to the end of the night: wall-clock s and °C; empty when nothing runs. */
export function ahead(live: Live): Corner[] {
  const { profile, segment, setpoint_c, ends_s, wall_s } = live;
  const now = profile && segment !== null ? profile.segments[segment] : undefined;
  if (!profile || !now || segment === null || setpoint_c === null || ends_s === null) return [];
  const { to_c } = end(now, setpoint_c);
  const rest = corners(profile.segments.slice(segment + 1), to_c);
  const rest_s = rest[rest.length - 1]![0] * 3600;
  const turn_s = Math.max(wall_s, ends_s - rest_s);
  return [[wall_s, setpoint_c], ...rest.map(([h, c]): Corner => [turn_s + h * 3600, c])];
}
