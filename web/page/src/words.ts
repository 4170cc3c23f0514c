// Numbers and names as people read them.
import type { MilestoneName, Phase, Role, Units } from "./types";

export const degrees = (c: number, units: Units): number => (units === "F" ? c * 1.8 + 32 : c);
export const celsius = (shown: number, units: Units): number => (units === "F" ? (shown - 32) / 1.8 : shown);
/** A difference or a rate: no zero to shift. */
export const steps = (k: number, units: Units): number => (units === "F" ? k * 1.8 : k);

const signed = (text: string): string => text.replace("-", "−");

export function temperature(c: number | null, units: Units, digits = 1): string {
  return c === null ? "–" : signed(degrees(c, units).toFixed(digits));
}

/** A number without needless zeros. */
export const plain = (value: number, digits = 1): string => signed(String(+value.toFixed(digits)));

const two = (n: number): string => String(n).padStart(2, "0");

export function duration(s: number): string {
  const minutes = Math.round(Math.abs(s) / 60);
  const h = Math.floor(minutes / 60);
  if (!h) return `${minutes} min`;
  return minutes % 60 ? `${h} h ${two(minutes % 60)} min` : `${h} h`;
}

/** An age: seconds while they matter. */
export const age = (s: number): string => (s < 90 ? `${Math.round(s)} s` : duration(s));

/** The time of day here. */
export function hour(wall_s: number): string {
  const at = new Date(wall_s * 1000);
  return `${two(at.getHours())}:${two(at.getMinutes())}`;
}

/** Made when a date is first shown: making it is slow on a phone. */
let dates: Intl.DateTimeFormat | undefined;

export function day(wall_s: number): string {
  dates ??= new Intl.DateTimeFormat([], { weekday: "short", day: "numeric", month: "short", year: "numeric" });
  return dates.format(wall_s * 1000);
}

export const PHASES: Record<Phase, string> = {
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
  missing: "does not answer",
  crc: "garbled",
  "power-on": "lost its supply",
  bus: "bus does not answer",
  range: "impossible value",
  rate: "jumped",
  frozen: "stands still",
  stale: "too old",
  disagrees: "disagrees",
};

export const OUTCOMES: Record<string, string> = {
  done: "finished",
  stopped: "stopped",
  tripped: "tripped",
  lost: "broken off",
};

/** Milestones: in the list, on the strip, and as what a segment waits for. */
export const MILESTONES: Record<MilestoneName, { long: string; short: string }> = {
  gelled: { long: "gelled", short: "gel" },
  "laminate-opens": { long: "ready to laminate on", short: "laminate" },
  "laminate-closes": { long: "too late to laminate on", short: "closed" },
  demould: { long: "hard enough to leave its mould", short: "hard" },
  full: { long: "as cured as it gets", short: "cured" },
  "post-cured": { long: "post-cured", short: "post-cure" },
};

// What follows may show that it is a difference: an optional look ahead would never be kept.
const WRITTEN = /([-−]?\d+(?:\.\d+)?) ?°([CF])(?:(?=( per| under| hotter|\/h))|)/g;

/** A difference in kelvins, and a loss, gain or capacity by one. */
const DIFFERENCE = /([-−+]?\d+(?:\.\d+)?) ?K(?!\w)/g;
const PER_KELVIN = /(\d+(?:\.\d+)?) ?(k?[WJ])\/K/g;

/** A sentence of the controller in the units this phone reads. */
export function inUnits(sentence: string, units: Units): string {
  if (units === "F") {
    sentence = sentence
      .replace(PER_KELVIN, (_, number: string, unit: string) => `${plain(Number(number) / 1.8, 2)} ${unit}/°F`)
      .replace(DIFFERENCE, (_, number: string) => {
        const value = Number(number.replace("−", "-")) * 1.8;
        return `${signed(value.toFixed(Math.abs(value) < 20 ? 1 : 0))} °F`;
      });
  }
  return sentence.replace(WRITTEN, (whole, number: string, from: string, difference?: string) => {
    if (from === units) return whole;
    const value = Number(number.replace("−", "-"));
    const digits = number.includes(".") ? 1 : 0;
    const toF = units === "F";
    const scaled = toF ? value * 1.8 : value / 1.8;
    const shift = difference ? 0 : toF ? 32 : -32 / 1.8;
    return `${signed((scaled + shift).toFixed(digits))} °${units}`;
  });
}
