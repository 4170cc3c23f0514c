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
  reached: boolean;
}

/** Height of a lane, CSS px. */
export const LANE_PX = 25;

/** A lane for each part, in the colour of its curve. */
export const marksOf = (parts: PartCure[], css: (p: PartCure, lane: number) => string, now_s: number): Mark[] =>
  parts.flatMap((p, lane) =>
    p.milestones
      .filter((m) => m.at_s !== null)
      .map((m) => ({
        lane,
        css: css(p, lane),
        at_s: m.at_s!,
        low_s: m.low_s ?? m.at_s!,
        high_s: m.high_s ?? m.at_s!,
        // Of several parts the one that is waited for names its lane.
        text: m.name === "demould" && parts.length > 1 ? `${p.name} ${MILESTONES[m.name].short}` : MILESTONES[m.name].short,
        reached: reached(m, now_s),
      })),
  );

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
  const ends = new Map<number, number>();
  ctx.save();
  ctx.beginPath();
  ctx.rect(bbox.left, 0, bbox.width + 14 * ratio, bbox.top);
  ctx.clip();
  ctx.font = `${11 * ratio}px system-ui, sans-serif`;
  ctx.textBaseline = "alphabetic";
  ctx.textAlign = "left";
  for (const m of [...marks].sort((a, b) => a.at_s - b.at_s)) {
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
    const width = ctx.measureText(m.text).width;
    const right = bbox.left + bbox.width + 12 * ratio;
    const from = Math.min(Math.max(x - width / 2, bbox.left), right - width);
    if (from < (ends.get(m.lane) ?? bbox.left)) continue;
    ends.set(m.lane, from + width + 6 * ratio);
    ctx.fillText(m.text, from, y - 7 * ratio);
  }
  ctx.restore();
}
