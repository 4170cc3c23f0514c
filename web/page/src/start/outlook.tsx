// What a plan says besides its answer: the odds as a bar, the nights as curves, then times and what helps.
import { useMemo } from "preact/hooks";
import { Meter } from "../fields";
import { PartRows } from "../now/cure";
import { PARTS } from "../strip/lines";
import { marksOf } from "../strip/marks";
import { Plot, type Line } from "../strip/plot";
import type { Live, PartCure, Plan, Units } from "../types";
import { degrees, hour, inUnits } from "../words";

/** Levers that change less are not worth a line. */
const LEAST_GAIN = 0.005;

/** Today's `h:mm`, wall time: only its hour is shown. */
export function today(start: string, now_s: number): number {
  const [h = 0, min = 0] = start.split(":").map(Number);
  return new Date(now_s * 1000).setHours(h, min, 0, 0) / 1000;
}

function partsOf({ milestones }: Plan, start_s: number): PartCure[] {
  const at = (s: number | null): number | null => (s === null ? null : start_s + s);
  return [...new Set(milestones.map((m) => m.part))].map((name) => ({
    name,
    part_c: 0,
    degree: null,
    too_cold: false,
    milestones: milestones
      .filter((m) => m.part === name)
      .map((m) => ({ name: m.name, at_s: at(m.p50_s), low_s: at(m.p10_s), high_s: at(m.p90_s) })),
  }));
}

const partColour = (i: number): string => PARTS[i % PARTS.length]!;

function linesOf({ curves }: Plan, units: Units): Line[] {
  const told = (c: number[]): number[] => c.map((v) => degrees(v, units));
  return curves.lines.map((l, i, { length }) => ({
    label: l.name,
    css: i === 0 ? "--air" : i === length - 1 ? "--ambient" : partColour(i - 1),
    values: told(l.p50_c),
    band: [told(l.p10_c), told(l.p90_c)],
  }));
}

export function Outlook({ plan, start, live }: { plan: Plan; start: string; live: Live }) {
  const u = live.units;
  const drawn = useMemo(() => {
    const start_s = today(start, live.wall_s);
    return {
      start_s,
      x_s: plan.curves.time_s.map((s) => start_s + s),
      lines: linesOf(plan, u),
      parts: partsOf(plan, start_s),
    };
  }, [plan, u]);
  const { start_s, x_s, lines, parts } = drawn;
  const { probability: odds, energy_kwh: kwh } = plan;
  const levers = plan.levers.filter((l) => l.probability_gain >= LEAST_GAIN);
  return (
    <div class="stack outlook">
      <Meter pct={100 * odds} level={odds >= 0.9 ? "" : odds >= 0.5 ? "some" : "much"} />
      <p>{inUnits(plan.weak_point, u)}</p>
      <Plot
        x_s={x_s}
        lines={lines}
        whole={[start_s, x_s[x_s.length - 1]!]}
        clock
        xText={hour}
        lanes={parts.map((p) => p.name)}
        marks={marksOf(parts, (_, lane) => partColour(lane), start_s)}
        deadline_s={start_s + plan.deadline_s}
        told={`Air, parts and shed of the nights from ${hour(start_s)} on, with the deadline; the times follow as a list.`}
      />
      <PartRows parts={parts} now_s={start_s} />
      <p>Heat about {kwh.p50.toFixed(2)} kWh, {kwh.p10.toFixed(2)} to {kwh.p90.toFixed(2)}{plan.cost && `; it costs about ${plan.cost.p50.toFixed(2)} ${plan.currency ?? ""}`.trimEnd()}.</p>
      <Sentences title="To know" told={plan.warnings.filter((w) => !w.startsWith("Vapour:")).map((w) => inUnits(w, u))} />
      <Sentences
        title="What would help"
        told={levers.map((l) => `+${Math.round(100 * l.probability_gain)} of 100 nights: ${inUnits(l.what, u)}`)}
      />
      <p class="quiet small">
        Of {plan.nights} nights, each a little other; ranges and bands hold eight of ten. A plan, no promise.
      </p>
    </div>
  );
}

function Sentences({ title, told }: { title: string; told: string[] }) {
  if (told.length === 0) return null;
  return (
    <div>
      <h3>{title}</h3>
      <ul class="events">
        {told.map((t) => <li key={t}>{t}</li>)}
      </ul>
    </div>
  );
}
