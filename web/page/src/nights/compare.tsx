// Two nights laid over each other from their starts.
import { useMemo } from "preact/hooks";
import { Refusal } from "../sheet";
import { Plot, type Line } from "../strip/plot";
import type { Live, Units } from "../types";
import { day, degrees, duration } from "../words";
import { FigureTable } from "./figure-table";
import { nightName, useRecorded, type Recorded } from "./fetch";
import { figuresOf } from "./night-figures";

/** Both nights on one time axis, s from their starts; each keeps its own values. */
function together(pair: Recorded[], units: Units): { x_s: number[]; lines: Line[] } {
  const since = pair.map(({ samples, night }) => samples.wall_s.map((s) => s - night.started_s));
  const x_s = [...new Set(since.flat())].sort((a, b) => a - b);
  const at = new Map(x_s.map((s, i) => [s, i]));
  const lines: Line[] = [];
  pair.forEach(({ night, samples }, n) => {
    const name = nightName(night);
    const spread = (values: (number | null)[]): (number | null)[] => {
      const found = Array<number | null | undefined>(x_s.length).fill(undefined) as (number | null)[];
      values.forEach((c, i) => (found[at.get(since[n]![i]!)!] = c === null ? null : degrees(c, units)));
      return found;
    };
    const slowest = night.thermometers.findIndex((t) => t.role === "part" || t.role === "mould");
    const dash = n === 0 ? undefined : [7, 4];
    lines.push({ label: `${name}: setpoint`, css: "--quiet", values: spread(samples.setpoint_c), width: 1.2, dash });
    lines.push({ label: `${name}: air`, css: n === 0 ? "--air" : "--ambient", values: spread(samples.control_c), width: 2.2, dash });
    const part = night.thermometers[slowest];
    if (part) {
      lines.push({
        label: `${name}: ${part.name}`,
        css: n === 0 ? "--part-1" : "--part-2",
        values: spread(samples.believed[slowest] ?? []),
        dash,
      });
    }
  });
  return { x_s, lines };
}

export function Compare({ ids, live }: { ids: number[]; live: Live }) {
  const { recorded, failed } = useRecorded(ids);
  const drawn = useMemo(() => recorded && together(recorded, live.units), [recorded, live.units]);
  if (failed) return <Refusal>{failed}</Refusal>;
  if (recorded === null || drawn === null) return <p class="quiet" role="status">Reading both nights …</p>;
  const names = recorded.map(({ night }) => nightName(night));
  const last_s = drawn.x_s[drawn.x_s.length - 1] ?? 0;
  return (
    <section class="strip full" aria-labelledby="compare-title">
      <h2 id="compare-title">{names.join(" and ")}</h2>
      <p class="quiet">
        Laid over each other from their starts. {recorded.map(({ night }) => `${nightName(night)}: ${day(night.started_s)}, '${night.profile.name}'`).join(". ")}.
      </p>
      <Plot
        {...drawn}
        whole={[0, Math.max(last_s, 600)]}
        clock={false}
        xText={(s) => (s % 3600 ? duration(s) : `${s / 3600} h`)}
        told={`Setpoint, air and a part of ${names.join(" and ")} over the hours since their starts. The figures follow as a table.`}
      />
      <div class="scroll" tabIndex={0} role="region" aria-label="Figures of both nights">
        <FigureTable
          units={live.units}
          columns={recorded.map(({ night, samples }) => ({
            title: nightName(night),
            figures: figuresOf(samples, night.thermometers),
            power_w: night.power_w,
          }))}
        />
      </div>
      <p><a href="#nights">All nights</a></p>
    </section>
  );
}
