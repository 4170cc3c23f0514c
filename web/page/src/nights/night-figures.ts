// A night in figures, from its thinned series.
import type { Phase, Samples, Thermometer } from "../types";

export interface NightFigures {
  lasted_s: number;
  highest_air_c: number | null;
  highest_part_c: number | null;
  soaked_s: number;
  /** Mean distance of the air from the setpoint while soaking, K. */
  soak_error_k: number | null;
  /** Mean duty; times power and time it is the heat used. */
  mean_duty: number;
}

/** Steps further apart than this are a gap, not a duration, s. */
const GAP_S = 900;

const highest = (values: (number | null)[]): number | null =>
  values.reduce<number | null>((most, c) => (c !== null && (most === null || c > most) ? c : most), null);

export function figuresOf(samples: Samples, thermometers: Pick<Thermometer, "role">[]): NightFigures {
  const { wall_s, setpoint_c, control_c, duty, phase } = samples;
  const parts = thermometers.flatMap((t, i) => (t.role === "part" || t.role === "mould" ? (samples.believed[i] ?? []) : []));
  let all = 0;
  let soaked = 0;
  let error = 0;
  let heated = 0;
  for (let i = 1; i < wall_s.length; i++) {
    const dt = Math.min(Math.max(wall_s[i]! - wall_s[i - 1]!, 0), GAP_S);
    all += dt;
    heated += dt * (duty[i] ?? 0);
    const [set, air] = [setpoint_c[i] ?? null, control_c[i] ?? null];
    if ((phase?.[i] as Phase | undefined) !== "soak" || set === null || air === null) continue;
    soaked += dt;
    error += dt * Math.abs(air - set);
  }
  return {
    lasted_s: (wall_s[wall_s.length - 1] ?? 0) - (wall_s[0] ?? 0),
    highest_air_c: highest(control_c),
    highest_part_c: highest(parts),
    soaked_s: soaked,
    soak_error_k: soaked > 0 ? error / soaked : null,
    mean_duty: all > 0 ? heated / all : 0,
  };
}
