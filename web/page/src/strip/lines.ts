// Which thermometer has which colour.
import type { Thermometer } from "../types";

export const PARTS = ["--part-1", "--part-2", "--part-3", "--part-4"];

export interface Traced {
  index: number;
  label: string;
  css: string;
}

/** Each thermometer's line, by role; the heater's own is left out of the strip. */
export function traced(thermometers: Pick<Thermometer, "name" | "role">[]): Traced[] {
  let part = 0;
  let air = 0;
  const found: Traced[] = [];
  thermometers.forEach((t, index) => {
    if (t.role === "heater") return;
    let css = "--ambient";
    if (t.role === "air") css = air++ === 0 ? "--air" : "--air-2";
    else if (t.role !== "ambient") css = PARTS[part++ % PARTS.length]!;
    found.push({ index, label: t.name, css });
  });
  return found;
}
