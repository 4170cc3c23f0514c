// Curves over time on a canvas: drawn by uPlot, zoomed and panned, read off by finger or key.
import { useEffect, useRef, useState } from "preact/hooks";
import uPlot from "uplot";
import { listen, pressed, type Sight } from "./gestures";
import { colour, drawDeadline, drawMarks, LANE_PX, type Mark } from "./marks";
import { isWhole, type Span } from "./view";

export interface Line {
  label: string;
  /** Name of a colour in the style sheet, such as `--air`. */
  css: string;
  values: (number | null)[];
  /** The edges of a band about it. */
  band?: [number[], number[]];
  width?: number;
  dash?: number[];
  /** Along the foot, 0 to 1, filled. */
  duty?: boolean;
}

interface Props {
  x_s: number[];
  lines: Line[];
  whole: Span;
  /** Time of day; else time since a start. */
  clock: boolean;
  xText: (x_s: number) => string;
  /** Lanes of milestones above the curves. */
  lanes?: string[];
  marks?: Mark[];
  deadline_s?: number;
  /** What the picture shows, in a sentence. */
  told: string;
}

/** Between ticks of time since a start, s. */
const STEPS_S = [60, 300, 900, 1800, 3600, 7200, 10_800, 21_600, 86_400];

export function Plot(props: Props) {
  const box = useRef<HTMLDivElement>(null);
  const host = useRef<HTMLDivElement>(null);
  const plot = useRef<uPlot | null>(null);
  const span = useRef<Span | null>(null);
  const latest = useRef(props);
  latest.current = props;
  const [index, setIndex] = useState<number | null>(null);
  const [near, setNear] = useState(false);

  const sight: Sight = {
    whole: () => latest.current.whole,
    get: () => span.current ?? latest.current.whole,
    set: (next) => {
      const { whole } = latest.current;
      span.current = isWhole(next, whole) ? null : next;
      setNear(span.current !== null);
      plot.current?.setScale("x", { min: next[0], max: next[1] });
    },
    point: (x) => {
      plot.current?.setCursor(x === null ? { left: -10, top: -10 } : { left: x, top: 20 });
      setIndex(x === null ? null : (plot.current?.posToIdx(x) ?? null));
    },
    at: (x) => plot.current?.posToVal(x, "x") ?? 0,
  };

  const empty = props.x_s.length === 0;
  const shape = props.lines.map((l) => l.label + l.css).join() + (props.lanes?.length ?? 0);
  useEffect(() => {
    if (empty) return;
    const element = host.current!;
    let quit = (): void => undefined;
    const make = (): void => {
      quit();
      plot.current?.destroy();
      const u = new uPlot(options(latest, element.clientWidth), data(latest.current), element);
      plot.current = u;
      show();
      quit = listen(u.over, box.current!, sight);
    };
    make();
    const sizes = new ResizeObserver(() => {
      if (plot.current && plot.current.width !== element.clientWidth) make();
    });
    sizes.observe(element);
    document.addEventListener("look", make);
    return () => {
      quit();
      sizes.disconnect();
      document.removeEventListener("look", make);
      plot.current?.destroy();
      plot.current = null;
    };
  }, [shape, empty]);

  const show = (): void => {
    const [min, max] = sight.get();
    plot.current?.setScale("x", { min, max });
  };
  useEffect(() => {
    plot.current?.batch(() => {
      plot.current?.setData(data(latest.current), false);
      show();
    });
  }, [props.x_s, props.whole[0], props.whole[1], props.lines]);

  const i = index !== null && index < props.x_s.length ? index : null;
  return (
    <div class="plotted">
      <div class="plot" ref={box} tabIndex={0} role="group" aria-label="The curves. Plus and minus zoom, left and right move along, Home shows all.">
        <div ref={host} role="img" aria-label={props.told} />
      </div>
      <div class="under">
        <p class="quiet" data-testid="pointed">{i === null ? "" : props.xText(props.x_s[i]!)}</p>
        <div class="zoom">
          <button class="small" aria-label="Show less time" onClick={() => sight.set(pressed("+", sight)!)}>+</button>
          <button class="small" aria-label="Show more time" disabled={!near} onClick={() => sight.set(pressed("-", sight)!)}>−</button>
          <button class="small" disabled={!near} onClick={() => sight.set(sight.whole())}>Whole</button>
        </div>
      </div>
      <ul class="key">
        {props.lines.map((l) => (
          <li key={l.label}>
            <i class={`swatch ${l.css.slice(2)}${l.dash ? " dashed" : ""}${l.duty ? " duty" : ""}`} />
            {l.label}
            {i !== null && <b> {l.duty ? percent(l.values[i] ?? null) : yText(l.values[i])}</b>}
          </li>
        ))}
      </ul>
    </div>
  );
}

const yText = (v: number | null | undefined): string => (v == null ? "–" : `${v.toFixed(1).replace("-", "−")}°`);
const percent = (duty: number | null): string => (duty === null ? "–" : `${Math.round(duty * 100)} %`);

function data({ x_s, lines }: Props): uPlot.AlignedData {
  const padded = (v: (number | null)[]): (number | null)[] =>
    v.length < x_s.length ? [...v, ...Array<null>(x_s.length - v.length).fill(null)] : v;
  return [x_s, ...lines.map((l) => padded(l.values)), ...lines.flatMap((l) => l.band ?? [])] as uPlot.AlignedData;
}

function options(latest: { current: Props }, width: number): uPlot.Options {
  const { lines, lanes, clock } = latest.current;
  const axis = {
    stroke: colour("--quiet"),
    grid: { stroke: colour("--faint"), width: 1 },
    ticks: { show: false },
    font: "12px system-ui, sans-serif",
  };
  const edge = { stroke: "transparent", points: { show: false } };
  const banded = lines.filter((l) => l.band);
  const top = 10 + (lanes?.length ?? 0) * LANE_PX;
  return {
    width,
    height: Math.min(Math.max(window.innerHeight * 0.32, 230), 400) + top,
    padding: [top, 16, 0, 0],
    legend: { show: false },
    cursor: { points: { size: 7 }, drag: { x: false, y: false }, y: false, bind: { mousemove: () => null, mouseleave: () => null } },
    scales: {
      x: { time: clock },
      y: { range: (_u, min, max) => [Math.min(min ?? 0, 0), Math.max((max ?? 10) * 1.04, 10)] },
      duty: { range: [0, 7] },
    },
    axes: [
      { ...axis, size: 26, values: (_u, ticks) => ticks.map(latest.current.xText), space: 60, ...(clock ? {} : { incrs: STEPS_S }) },
      { ...axis, size: 38, values: (_u, ticks) => ticks.map((t) => `${t}°`) },
    ],
    series: [
      {},
      ...lines.map((l) => ({
        scale: l.duty ? "duty" : "y",
        stroke: colour(l.css),
        fill: l.duty ? colour("--ember-haze") : undefined,
        width: l.width ?? 1.8,
        dash: l.dash,
        points: { show: false },
        spanGaps: false,
      })),
      ...banded.flatMap(() => [edge, edge]),
    ],
    bands: banded.map((l, i) => {
      const low = lines.length + 1 + 2 * i;
      return { series: [low + 1, low], fill: `${colour(l.css)}38` };
    }),
    hooks: {
      draw: [
        (u) => {
          const { marks, deadline_s } = latest.current;
          if (deadline_s) drawDeadline(u, deadline_s);
          if (marks && lanes) drawMarks(u, marks, lanes.length);
        },
      ],
    },
  };
}
