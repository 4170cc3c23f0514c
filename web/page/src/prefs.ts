// What is stored on this phone alone: units and look.
import { useEffect, useState } from "preact/hooks";
import { applyLook, LOOK_KEY, type Look } from "./look";
import type { Units } from "./types";

const UNITS_KEY = "nightcure.units";

function stored<T extends string>(key: string, allowed: readonly T[], otherwise: T): T {
  try {
    const value = localStorage.getItem(key) as T | null;
    return value !== null && allowed.includes(value) ? value : otherwise;
  } catch {
    return otherwise;
  }
}

function store(key: string, value: string): void {
  try {
    localStorage.setItem(key, value);
  } catch {
    // a private window: the choice lasts as long as the page
  }
}

export type UnitsChoice = Units | "oven";

export interface Prefs {
  units: UnitsChoice;
  look: Look;
}

let prefs: Prefs = {
  units: stored<UnitsChoice>(UNITS_KEY, ["oven", "C", "F"], "oven"),
  look: stored<Look>(LOOK_KEY, ["auto", "dark", "light"], "auto"),
};
const listeners = new Set<() => void>();

export function choose(change: Partial<Prefs>): void {
  prefs = { ...prefs, ...change };
  store(UNITS_KEY, prefs.units);
  store(LOOK_KEY, prefs.look);
  applyLook();
  listeners.forEach((tell) => tell());
}

export function usePrefs(): Prefs {
  const [now, setNow] = useState(prefs);
  useEffect(() => {
    const tell = (): void => setNow(prefs);
    listeners.add(tell);
    return () => void listeners.delete(tell);
  }, []);
  return now;
}
