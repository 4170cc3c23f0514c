// Whether somebody is told, asked now and then.
import { useEffect, useState } from "preact/hooks";
import { get } from "./api";
import type { Telling } from "./types";

const AGAIN_MS = 30_000;
/** A service that fails for longer than this is told on the first screen, s. */
export const FAILS_S = 600;

/** Null until it is known; asked again whenever `mark` is another. */
export function useTelling(mark = ""): Telling | null {
  const [telling, setTelling] = useState<Telling | null>(null);
  useEffect(() => {
    const look = (): void => void get<Telling>("notifications").then(setTelling, () => undefined);
    look();
    const timer = window.setInterval(look, AGAIN_MS);
    return () => window.clearInterval(timer);
  }, [mark]);
  return telling;
}

/** Why nobody may be told just now; empty where somebody is, or nobody is meant to be. */
export function unheard(telling: Telling | null, now_s: number): string {
  if (telling === null || telling.seen_s === null) return "";
  if (!telling.runs) return "The notifier does not run: nobody is told.";
  const failing = telling.services.filter((s) => s.failing_s !== null && now_s - s.failing_s > FAILS_S);
  return failing.length === 0 ? "" : `No message gets through to ${failing.map((s) => s.name).join(", ")}.`;
}
