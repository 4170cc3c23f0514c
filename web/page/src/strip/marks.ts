// Milestones of the cure as lanes above the curves: a bar where the data sheet leaves it open, a
// stroke where it is likeliest, a thick one once it is reached.
import type uPlot from "uplot";
import { reached } from "../now/cure";
import type { PartCure } from "../types";
import { MILESTONES } from "../words";

export interface Mark {
  lane: number;
  /** Name of a colour in the style sheet. */
  css: string;
  at_s: number;
  low_s: number;
  high_s: number;
  text: string;
  /** Of several parts the one that is waited for names its lane. */
  name?: string;
  reached: boolean;
}

/** Height of a lane, CSS px. */
export const LANE_PX = 25;

/** The widest label, of the width of the curves. */
const WIDEST = 0.6;

/** A lane for each part, in the colour of its curve. */
export const marksOf = (parts: PartCure[], css: (p: PartCure, lane: number) => string, now_s: number): Mark[] =>
  parts.flatMap((p, lane) => {
    const foreseen = p.milestones.filter((m) => m.at_s !== null);
    const naming = foreseen.find((m) => m.name === "demould") ?? foreseen[foreseen.length - 1];
    return foreseen.map((m) => ({
      lane,
      css: css(p, lane),
      at_s: m.at_s!,
      low_s: m.low_s ?? m.at_s!,
      high_s: m.high_s ?? m.at_s!,
      text: MILESTONES[m.name].short,
      name: m === naming && parts.length > 1 ? p.name : undefined,
      reached: reached(m, now_s),
    }));
  });

export function colour(name: string): string {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}

/** A dashed line from top to foot at a moment that is to be met. */
export function drawDeadline(u: uPlot, at_s: number): void {
  const { ctx, bbox } = u;
  const x = u.valToPos(at_s, "x", true);
  if (x < bbox.left || x > bbox.left + bbox.width) return;
  ctx.save();
  ctx.strokeStyle = colour("--ink");
  ctx.lineWidth = 1.5 * devicePixelRatio;
  ctx.setLineDash([6 * devicePixelRatio, 4 * devicePixelRatio]);
  ctx.beginPath();
  ctx.moveTo(x, 0);
  ctx.lineTo(x, bbox.top + bbox.height);
  ctx.stroke();
  ctx.restore();
}

export function drawMarks(u: uPlot, marks: Mark[], lanes: number): void {
  const { ctx, bbox } = u;
  const ratio = devicePixelRatio;
  const taken: [number, number, number][] = [];
  ctx.save();
  ctx.beginPath();
  ctx.rect(bbox.left, 0, bbox.width + 14 * ratio, bbox.top);
  ctx.clip();
  ctx.font = `${11 * ratio}px system-ui, sans-serif`;
  ctx.textBaseline = "alphabetic";
  ctx.textAlign = "left";
  // A lane's name has its place before what else would stand there.
  for (const m of [...marks].sort((a, b) => Number(!a.name) - Number(!b.name) || a.at_s - b.at_s)) {
    const y = bbox.top - ((lanes - m.lane - 1) * LANE_PX + 9) * ratio;
    const x = u.valToPos(m.at_s, "x", true);
    if (x < bbox.left - 1 || x > bbox.left + bbox.width + 1) continue;
    const [low, high] = [m.low_s, m.high_s].map((s) => u.valToPos(s, "x", true)) as [number, number];
    ctx.strokeStyle = ctx.fillStyle = colour(m.css);
    if (!m.reached) {
      ctx.globalAlpha = 0.4;
      ctx.fillRect(low, y - 2 * ratio, Math.max(high - low, 1), 4 * ratio);
      ctx.globalAlpha = 1;
    }
    const wide = (m.reached ? 4 : 2) * ratio;
    ctx.fillRect(x - wide / 2, y - 5 * ratio, wide, 10 * ratio);
    const text = m.name === undefined ? m.text : fitting(ctx, m.name, m.text, WIDEST * bbox.width);
    const width = ctx.measureText(text).width;
    const right = bbox.left + bbox.width + 12 * ratio;
    const from = Math.min(Math.max(x - width / 2, bbox.left), right - width);
    if (taken.some(([lane, left, end]) => lane === m.lane && from < end && left < from + width)) continue;
    taken.push([m.lane, from - 6 * ratio, from + width + 6 * ratio]);
    ctx.fillText(text, from, y - 7 * ratio);
  }
  ctx.restore();
}

/** A part's name and its milestone, the name cut where both are too wide. */
function fitting(ctx: CanvasRenderingContext2D, name: string, text: string, most: number): string {
  const letters = [...name];
  let whole = `${name} ${text}`;
  while (letters.length > 1 && ctx.measureText(whole).width > most) {
    letters.pop();
    whole = `${letters.join("").trimEnd()}… ${text}`;
  }
  return whole;
}
