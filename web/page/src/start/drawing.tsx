// The profile as a drawing whose points can be dragged, or moved with the arrow keys.
import { useEffect, useRef, useState } from "preact/hooks";
import { corners as courseOf } from "../course";
import type { Limits, Segment, Units } from "../types";
import { degrees, duration, plain, temperature } from "../words";
import { cornersOf, highestC, moved, type Corner } from "./edit";
import { BOTTOM, celsiusAt, hoursAt, LEFT, ticks, ticksC, xOf, yOf, type Paper } from "./scale";

interface Props {
  segments: Segment[];
  start_c: number;
  limits: Limits;
  units: Units;
  onChange: (segments: Segment[]) => void;
}

const HEIGHT = 260;
const KEY_H = 0.25;

export function Drawing({ segments, start_c, limits, units, onChange }: Props) {
  const svg = useRef<SVGSVGElement>(null);
  const [width, setWidth] = useState(340);
  const [grip, setGrip] = useState<{ index: number; paper: Paper } | null>(null);
  const [focused, setFocused] = useState<number | null>(null);
  const points = cornersOf(segments, start_c);
  const end = points[points.length - 1]!;
  const paper: Paper = grip?.paper ?? {
    width,
    height: HEIGHT,
    hours: Math.max(4, Math.min(end.h * 1.12, limits.longest_night_h * 1.5)),
    top_c: highestC(limits) + 6,
  };

  useEffect(() => {
    const sizes = new ResizeObserver(() => svg.current && setWidth(svg.current.clientWidth));
    sizes.observe(svg.current!);
    return () => sizes.disconnect();
  }, []);

  const to = (index: number, h: number, c: number): void => onChange(moved(segments, index, h, c, start_c, limits));
  const drag = (event: PointerEvent): void => {
    if (grip === null || svg.current === null) return;
    const box = svg.current.getBoundingClientRect();
    to(grip.index, hoursAt(paper, event.clientX - box.left), celsiusAt(paper, event.clientY - box.top));
  };
  const key = (event: KeyboardEvent, at: Corner): void => {
    const most = event.shiftKey ? 4 : 1;
    const step_c = (units === "F" ? 0.5 / 0.9 : 0.5) * 2 * most;
    const by: Record<string, [number, number]> = {
      ArrowLeft: [-KEY_H * most, 0],
      ArrowRight: [KEY_H * most, 0],
      ArrowUp: [0, step_c],
      ArrowDown: [0, -step_c],
    };
    const go = by[event.key];
    if (!go) return;
    event.preventDefault();
    to(at.segment, at.h + go[0], at.c + go[1]);
  };

  const path = courseOf(segments, start_c)
    .map(([h, c]) => `${xOf(paper, h).toFixed(1)},${yOf(paper, c).toFixed(1)}`)
    .join(" ");
  return (
    <svg
      ref={svg}
      class={grip ? "drawing held" : "drawing"}
      height={HEIGHT}
      role="group"
      aria-label="The profile as a drawing: each point is moved by dragging, or with the arrow keys. The table below has the same numbers."
      onPointerMove={drag}
      onPointerUp={() => setGrip(null)}
      onPointerCancel={() => setGrip(null)}
    >
      <Ground paper={paper} limits={limits} units={units} />
      <Steepest paper={paper} limits={limits} from={points[(grip?.index ?? focused ?? -1)]} segment={segments[grip?.index ?? focused ?? -1]} />
      <polyline class="course" points={path} />
      {points.slice(1).map((at) => (
        <g
          key={at.segment}
          class="handle"
          role="slider"
          tabIndex={0}
          aria-label={`End of segment ${at.segment + 1}, ${WORDS[segments[at.segment]!.kind]}`}
          aria-valuenow={Math.round(degrees(at.c, units))}
          aria-valuemin={Math.round(degrees(0, units))}
          aria-valuemax={Math.round(degrees(highestC(limits), units))}
          aria-valuetext={`${temperature(at.c, units)} °${units}, ${duration(at.h * 3600)} after the start`}
          onKeyDown={(e) => key(e, at)}
          onFocus={() => setFocused(at.segment)}
          onBlur={() => setFocused(null)}
          onPointerDown={(e) => {
            e.preventDefault();
            (e.currentTarget as SVGGElement).focus();
            svg.current?.setPointerCapture(e.pointerId);
            setGrip({ index: at.segment, paper });
          }}
        >
          <rect class="reach" x={xOf(paper, at.h) - 22} y={yOf(paper, at.c) - 22} width={44} height={44} />
          <path class="dot" d={`M${xOf(paper, at.h)} ${yOf(paper, at.c) - 13}v26`} />
        </g>
      ))}
      <Reading paper={paper} at={points[(grip?.index ?? focused ?? -2) + 1]} units={units} />
    </svg>
  );
}

const WORDS = { ramp: "ramp", soak: "soak", cool: "cool-down" };

/** Grid, and what this oven may not be asked for. */
function Ground({ paper, limits, units }: { paper: Paper; limits: Limits; units: Units }) {
  const top = yOf(paper, paper.top_c);
  const limit = yOf(paper, highestC(limits));
  const right = xOf(paper, paper.hours);
  const night = xOf(paper, limits.longest_night_h);
  return (
    <g aria-hidden="true">
      {ticksC(paper.top_c, units).map((c) => (
        <g key={c}>
          <line class="grid" x1={LEFT} x2={right} y1={yOf(paper, c)} y2={yOf(paper, c)} />
          <text x={LEFT - 6} y={yOf(paper, c) + 4} text-anchor="end">{Math.round(degrees(c, units))}°</text>
        </g>
      ))}
      {ticks(paper.hours, [0.5, 1, 2, 3, 6, 12, 24], paper.width / 48).map((h) => (
        <g key={h}>
          <line class="grid" x1={xOf(paper, h)} x2={xOf(paper, h)} y1={top} y2={paper.height - BOTTOM} />
          <text x={xOf(paper, h)} y={paper.height - 8} text-anchor="middle">{plain(h)} h</text>
        </g>
      ))}
      <rect class="beyond" x={LEFT} y={top - 8} width={right - LEFT} height={limit - top + 8} />
      <line class="limit" x1={LEFT} x2={right} y1={limit} y2={limit} />
      <text class="limit" x={right - 4} y={limit - 5} text-anchor="end">at most {plain(degrees(highestC(limits), units))}°</text>
      {night < right && (
        <>
          <rect class="beyond" x={night} y={top - 8} width={right - night} height={paper.height - BOTTOM - top + 8} />
          <line class="limit" x1={night} x2={night} y1={top} y2={paper.height - BOTTOM} />
          <text class="limit" x={night - 4} y={paper.height - BOTTOM - 6} text-anchor="end">longest night</text>
        </>
      )}
    </g>
  );
}

/** While a ramp's point is held: the steepest this oven's moulds take. */
function Steepest({ paper, limits, from, segment }: { paper: Paper; limits: Limits; from: Corner | undefined; segment: Segment | undefined }) {
  if (!from || !segment || segment.kind === "soak") return null;
  const to_c = segment.kind === "ramp" && segment.to_c >= from.c ? highestC(limits) : 0;
  const h = from.h + Math.abs(to_c - from.c) / limits.ramp_c_per_h;
  return <line class="steepest" aria-hidden="true" x1={xOf(paper, from.h)} y1={yOf(paper, from.c)} x2={xOf(paper, h)} y2={yOf(paper, to_c)} />;
}

function Reading({ paper, at, units }: { paper: Paper; at: Corner | undefined; units: Units }) {
  if (!at || at.segment < 0) return null;
  const x = xOf(paper, at.h);
  const late = x > paper.width / 2;
  return (
    <text class="reading" aria-hidden="true" x={late ? x + 8 : x - 8} y={Math.max(yOf(paper, at.c) - 28, 14)} text-anchor={late ? "end" : "start"}>
      {temperature(at.c, units)}°, {duration(at.h * 3600)}
    </text>
  );
}
