// The course a profile takes: its corners from a cold start, and what is still ahead tonight.
import type { Live, MilestoneName, Segment, Soak } from "./types";

export type Corner = [number, number];

/** Where a segment ends, from where it begins: hours and °C. */
function end(s: Segment, from_c: number): { hours: number; to_c: number } {
  if (s.kind === "ramp") return { hours: Math.abs(s.to_c - from_c) / s.rate_c_per_h, to_c: s.to_c };
  if (s.kind === "soak") return { hours: s.hours, to_c: s.at_c };
  return { hours: Math.max(0, from_c - s.below_c) / s.rate_c_per_h, to_c: Math.min(from_c, s.below_c) };
}

/** Whether a soak may end before its hours, on the cure. */
export const endsOnCure = (s: Segment): boolean => s.kind === "soak" && Boolean(s.until || s.until_tg_c || s.until_degree);

/** A soak that holds what the ramp before it reaches is moved together with it. */
export const held = (a: Segment | undefined, b: Segment | undefined): b is Soak =>
  a?.kind === "ramp" && b?.kind === "soak" && a.to_c === b.at_c;

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

/** When every part should be past a milestone, wall time; null if that is not in sight. */
function foreseen(live: Live, name: MilestoneName): number | null {
  const times = (live.cure ?? []).flatMap((p) => p.milestones.filter((m) => m.name === name).map((m) => m.at_s));
  return times.length > 0 && times.every((t) => t !== null) ? Math.max(...(times as number[])) : null;
}

/**
 * The planned setpoint from now to the end of the night, wall-clock s and °C; empty when nothing
 * runs. Where a segment waits for the cure, it waits as long as the cure is foreseen to take.
 */
export function ahead(live: Live): Corner[] {
  const { profile, segment, setpoint_c, ends_s, wall_s } = live;
  if (!profile || segment === null || setpoint_c === null || ends_s === null) return [];
  const points: Corner[] = [[wall_s, setpoint_c]];
  let t = wall_s;
  let c = setpoint_c;
  const rest = profile.segments.slice(segment);
  rest.forEach((s, i) => {
    const { hours, to_c } = end(s, c);
    const awaited = s.kind === "ramp" ? s.wait_for : s.kind === "soak" ? s.until : null;
    const there_s = awaited ? foreseen(live, awaited) : null;
    let until_s = t + hours * 3600;
    if (s.kind === "ramp" && there_s !== null && there_s > t) {
      points.push([there_s, c]);
      until_s += there_s - t;
    } else if (s.kind === "soak") {
      // How long the soak under way has lasted is not told; the night's end tells it.
      if (i === 0) until_s = ends_s - after(rest.slice(1), s.at_c);
      if (there_s !== null) until_s = Math.min(until_s, there_s);
      if (s.at_c !== c) points.push([t, s.at_c]);
    }
    t = Math.max(until_s, t);
    c = to_c;
    points.push([t, c]);
  });
  return points;
}

/** How long segments take, s, from a temperature. */
function after(segments: Segment[], from_c: number): number {
  const course = corners(segments, from_c);
  return course[course.length - 1]![0] * 3600;
}
