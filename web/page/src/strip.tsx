// The night as one strip: setpoint, air, parts, ambient, and the heater's duty along the foot.
import { useEffect, useRef } from "preact/hooks";
import uPlot from "uplot";
import type { Live, Samples, Thermometer } from "./api";
import { ahead } from "./course";
import { degrees, hour, temperature, type Units } from "./words";

interface Props {
  samples: Samples | null;
  live: Live;
}

const PARTS = ["--part-1", "--part-2", "--part-3", "--part-4"];

function colour(name: string): string {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}

/** Each thermometer's line, by role; the heater's own is left out of the strip. */
export function lines(thermometers: Thermometer[]): { index: number; label: string; css: string }[] {
  let part = 0;
  let air = 0;
  const found: { index: number; label: string; css: string }[] = [];
  thermometers.forEach((t, index) => {
    if (t.role === "heater") return;
    let css = "--ambient";
    if (t.role === "air") css = air++ === 0 ? "--air" : "--air-2";
    else if (t.role !== "ambient") css = PARTS[part++ % PARTS.length]!;
    found.push({ index, label: t.name, css });
  });
  return found;
}

function data(samples: Samples, live: Live): uPlot.AlignedData {
  const u: Units = live.units;
  const shown = (values: (number | null)[]): (number | null)[] =>
    values.map((c) => (c === null ? null : degrees(c, u)));
  const last_s = samples.wall_s[samples.wall_s.length - 1] ?? -Infinity;
  const course = ahead(live).filter(([s]) => s > last_s);
  const past = samples.wall_s.map(() => null);
  return [
    [...samples.wall_s, ...course.map(([s]) => s)],
    samples.duty,
    shown(samples.setpoint_c),
    [...past.slice(1), shown([live.setpoint_c])[0]!, ...course.map(([, c]) => degrees(c, u))],
    ...lines(live.thermometers).map((l) => shown(samples.believed[l.index] ?? [])),
  ].map((values, _, all) => padded(values, all[0]!.length)) as uPlot.AlignedData;
}

/** Nothing was measured yet where the course goes. */
function padded(values: (number | null)[], length: number): (number | null)[] {
  return values.length < length ? [...values, ...Array<null>(length - values.length).fill(null)] : values;
}

function options(live: Live, width: number, height: number): uPlot.Options {
  const faint = colour("--faint");
  const quiet = colour("--quiet");
  const axis = { stroke: quiet, grid: { stroke: faint, width: 1 }, ticks: { show: false } };
  return {
    width,
    height,
    padding: [10, 18, 0, 0],
    legend: { show: false },
    cursor: { points: { size: 7 }, drag: { x: true, y: false } },
    scales: {
      x: { time: true, range: (_u, min, max) => [min, Math.max(max, live.ends_s ?? max, min + 600)] },
      duty: { range: [0, 7] },
    },
    axes: [
      { ...axis, values: (_u, ticks) => ticks.map(hour), space: 58, font: "12px system-ui" },
      { ...axis, size: 36, values: (_u, ticks) => ticks.map((t) => `${t}°`), font: "12px system-ui" },
    ],
    series: [
      {},
      { scale: "duty", stroke: colour("--ember"), fill: colour("--ember-haze"), width: 1, points: { show: false } },
      { stroke: quiet, width: 1.5, points: { show: false } },
      { stroke: quiet, width: 1.5, dash: [5, 5], points: { show: false } },
      ...lines(live.thermometers).map((l) => ({
        stroke: colour(l.css),
        width: l.css === "--air" ? 2.4 : 1.8,
        points: { show: false },
        spanGaps: false,
      })),
    ],
  };
}

export function Strip({ samples, live }: Props) {
  const host = useRef<HTMLDivElement>(null);
  const plot = useRef<uPlot | null>(null);
  const latest = useRef<Props>({ samples, live });
  latest.current = { samples, live };
  const empty = samples === null || samples.seq.length === 0;

  useEffect(() => {
    const element = host.current;
    if (element === null || empty) return;
    const make = (): void => {
      plot.current?.destroy();
      const { samples: s, live: l } = latest.current;
      const height = Math.min(Math.max(window.innerHeight * 0.3, 220), 380);
      plot.current = new uPlot(options(l, element.clientWidth, height), data(s!, l), element);
    };
    make();
    const sizes = new ResizeObserver(() => {
      if (plot.current && plot.current.width !== element.clientWidth) make();
    });
    sizes.observe(element);
    const scheme = window.matchMedia("(prefers-color-scheme: dark)");
    scheme.addEventListener("change", make);
    return () => {
      sizes.disconnect();
      scheme.removeEventListener("change", make);
      plot.current?.destroy();
      plot.current = null;
    };
  }, [empty, live.night_id, live.units, live.thermometers.length, live.ends_s === null]);

  useEffect(() => {
    if (plot.current && samples && !empty) plot.current.setData(data(samples, live));
  }, [samples]);

  return (
    <section class="strip" aria-labelledby="strip-title">
      <h2 id="strip-title">The night</h2>
      {empty ? (
        <p class="quiet">No night has been recorded yet.</p>
      ) : (
        <>
          <div class="plot" ref={host} role="img" aria-label={told(samples, live)} />
          <ul class="key">
            <li><i class="swatch" />setpoint</li>
            <li><i class="swatch dashed" />still to come</li>
            {lines(live.thermometers).map((l) => (
              <li key={l.label}><i class={`swatch ${l.css.slice(2)}`} />{l.label}</li>
            ))}
            <li><i class="swatch ember" />heater duty</li>
          </ul>
          <Hours samples={samples} live={live} />
        </>
      )}
    </section>
  );
}

function told(samples: Samples, live: Live): string {
  const last = samples.seq.length - 1;
  const from = hour(samples.wall_s[0]!);
  const to = hour(samples.wall_s[last]!);
  const air = temperature(samples.control_c[last] ?? null, live.units);
  return `Temperatures from ${from} to ${to}; the air is at ${air} °${live.units}. A table follows.`;
}

/** The strip in words, for those who cannot see it: every half hour. */
function Hours({ samples, live }: { samples: Samples; live: Live }) {
  const shown = lines(live.thermometers);
  const rows: number[] = [];
  let next = -Infinity;
  samples.wall_s.forEach((t, i) => {
    if (t >= next) {
      rows.push(i);
      next = t + 1800;
    }
  });
  return (
    <details class="hours">
      <summary>The night as a table</summary>
      <div class="scroll" tabIndex={0} role="region" aria-label="The night as a table">
        <table>
          <thead>
            <tr>
              <th scope="col">time</th>
              <th scope="col">setpoint</th>
              {shown.map((l) => <th scope="col" key={l.label}>{l.label}</th>)}
              <th scope="col">duty</th>
            </tr>
          </thead>
          <tbody>
            {rows.map((i) => (
              <tr key={samples.seq[i]}>
                <th scope="row">{hour(samples.wall_s[i]!)}</th>
                <td>{temperature(samples.setpoint_c[i] ?? null, live.units)}</td>
                {shown.map((l) => (
                  <td key={l.label}>{temperature(samples.believed[l.index]?.[i] ?? null, live.units)}</td>
                ))}
                <td>{Math.round((samples.duty[i] ?? 0) * 100)} %</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </details>
  );
}
