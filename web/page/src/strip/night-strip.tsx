// The night as one strip from dusk to dawn: what was, the course to come, and the cure above it.
import { useMemo } from "preact/hooks";
import { ahead } from "../course";
import { later } from "../later";
import type { Live, Samples, Thermometer } from "../types";
import { degrees, hour, temperature } from "../words";
import { Hours } from "./hours";
import { PARTS, traced, type Traced } from "./lines";
import { marksOf } from "./marks";
import type { Line } from "./plot";

/** What draws is the heaviest file: it comes beside the first figures, not before them. */
const Plot = later(() => import("./plot").then((m) => m.Plot), "awaited-plot");
Plot.fetch();

interface Props {
  samples: Samples;
  live: Live;
  thermometers: Pick<Thermometer, "name" | "role">[];
  /** Whether it is the night that runs: then the course to come is drawn too. */
  running?: boolean;
}

export function NightStrip({ samples, live, thermometers, running }: Props) {
  const u = live.units;
  const shown = traced(thermometers);
  const course = running && samples.seq.length > 0 ? ahead(live) : [];
  const drawn = useMemo(() => {
    const last_s = samples.wall_s[samples.wall_s.length - 1] ?? -Infinity;
    const rest = course.filter(([s]) => s > last_s);
    const x_s = [...samples.wall_s, ...rest.map(([s]) => s)];
    const told = (values: (number | null)[]): (number | null)[] =>
      values.map((c) => (c === null ? null : degrees(c, u)));
    const lines: Line[] = [
      { label: "heat given", css: "--ember", values: samples.duty, width: 1, duty: true },
      { label: "setpoint", css: "--quiet", values: told(samples.setpoint_c), width: 1.5 },
      ...shown.map((l) => ({
        label: l.label,
        css: l.css,
        values: told(samples.believed[l.index] ?? []),
        width: l.css === "--air" ? 2.4 : 1.8,
      })),
    ];
    if (running && course.length > 0) {
      const past: (number | null)[] = samples.wall_s.map(() => null);
      if (past.length > 0 && live.setpoint_c !== null) past[past.length - 1] = degrees(live.setpoint_c, u);
      const values = [...past, ...rest.map(([, c]) => degrees(c, u))];
      lines.splice(2, 0, { label: "still to come", css: "--quiet", values, width: 1.5, dash: [5, 5] });
    }
    return { x_s, lines };
  }, [samples, u, running, live.night_id]);

  const first_s = samples.wall_s[0] ?? live.wall_s;
  const last_s = samples.wall_s[samples.wall_s.length - 1] ?? first_s;
  const end_s = Math.max(last_s, running ? (live.ends_s ?? last_s) : last_s, first_s + 600);
  const parts = running ? (live.cure ?? []) : [];
  /** The colour of a part's curve; of one without a thermometer a colour that no curve has. */
  const laneOf = (name: string): string => {
    const own = (of: string): string | undefined => shown.find((l) => l.label === of)?.css;
    const free = PARTS.filter((css) => !shown.some((l) => l.css === css));
    const others = parts.filter((p) => own(p.name) === undefined).map((p) => p.name);
    return own(name) ?? free[others.indexOf(name) % free.length] ?? "--quiet";
  };
  return (
    <>
      <Plot
        {...drawn}
        whole={[first_s, end_s]}
        clock
        xText={hour}
        lanes={parts.map((p) => p.name)}
        marks={marksOf(parts, (p) => laneOf(p.name), live.wall_s)}
        told={sentence(samples, live, shown)}
      />
      <Hours samples={samples} units={u} shown={shown} />
    </>
  );
}

function sentence(samples: Samples, live: Live, shown: Traced[]): string {
  const last = samples.seq.length - 1;
  if (last < 0) return "No temperatures yet.";
  const at = shown
    .map((l) => `${l.label} ${temperature(samples.believed[l.index]?.[last] ?? null, live.units)}`)
    .join(", ");
  return `Temperatures from ${hour(samples.wall_s[0]!)} to ${hour(samples.wall_s[last]!)}; at the end, in °${live.units}: ${at}. A table follows.`;
}
