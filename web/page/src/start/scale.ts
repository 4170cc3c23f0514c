// Paper for the drawing: hours and °C to px and back.
import type { Units } from "../types";
import { celsius, degrees } from "../words";

export interface Paper {
  width: number;
  height: number;
  /** The end of the hours and the top of the temperatures drawn. */
  hours: number;
  top_c: number;
}

export const LEFT = 38;
const RIGHT = 22;
const TOP = 18;
export const BOTTOM = 26;

export const xOf = (p: Paper, h: number): number => LEFT + (h / p.hours) * (p.width - LEFT - RIGHT);
export const yOf = (p: Paper, c: number): number => p.height - BOTTOM - (c / p.top_c) * (p.height - BOTTOM - TOP);
export const hoursAt = (p: Paper, x: number): number => ((x - LEFT) / (p.width - LEFT - RIGHT)) * p.hours;
export const celsiusAt = (p: Paper, y: number): number => ((p.height - BOTTOM - y) / (p.height - BOTTOM - TOP)) * p.top_c;

/** Round numbers up to `most`, about `count` of them. */
export function ticks(most: number, steps: number[], count: number): number[] {
  const step = steps.find((s) => most / s <= count) ?? steps[steps.length - 1]!;
  const found: number[] = [];
  for (let v = 0; v <= most + 1e-9; v += step) found.push(v);
  return found;
}

/** Where to write temperatures, °C, so that they are round in the units read. */
export function ticksC(top_c: number, units: Units): number[] {
  const low = Math.ceil(degrees(0, units) / 10) * 10;
  const step = units === "F" ? 20 : 10;
  const found: number[] = [];
  for (let v = units === "F" ? Math.ceil(low / 20) * 20 : low; celsius(v, units) <= top_c + 1e-9; v += step) {
    found.push(celsius(v, units));
  }
  return found;
}
