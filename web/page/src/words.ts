// Numbers as people read them.
import type { Live, Role } from "./api";

export type Units = "C" | "F";

export const degrees = (c: number, units: Units): number => (units === "F" ? c * 1.8 + 32 : c);

export function temperature(c: number | null, units: Units, digits = 1): string {
  return c === null ? "–" : degrees(c, units).toFixed(digits).replace("-", "−");
}

export function duration(s: number): string {
  const minutes = Math.round(s / 60);
  const h = Math.floor(minutes / 60);
  return h ? `${h} h ${String(minutes % 60).padStart(2, "0")}` : `${minutes} min`;
}

export function hour(wall_s: number): string {
  return new Date(wall_s * 1000).toLocaleTimeString([], {
    hour: "2-digit",
    minute: "2-digit",
    hour12: false,
  });
}

export const PHASES: Record<Live["phase"], string> = {
  idle: "Resting",
  ramp: "Ramp",
  soak: "Soak",
  cool: "Cool-down",
  done: "Done",
  tripped: "Tripped",
};

export const ROLES: Record<Role, string> = {
  air: "air",
  part: "part",
  mould: "mould",
  ambient: "ambient",
  heater: "heater",
};

export const FAULTS: Record<string, string> = {
  missing: "not on the bus",
  crc: "garbled",
  "power-on": "lost its supply",
  bus: "bus does not answer",
  range: "impossible value",
  rate: "jumped",
  frozen: "stands still",
  stale: "too old",
  disagrees: "disagrees",
};
