// What a person is at: it outlasts another screen and a reload, in this tab alone.
import { useLayoutEffect, useState } from "preact/hooks";

/** Of which shape what is kept was; another build may know another, and reads none of it. */
declare const SHAPE: string;
const PREFIX = `nightcure.${SHAPE}.`;

const kept = new Map<string, unknown>();

function recall<T>(key: string): T | null {
  if (!kept.has(key)) {
    try {
      kept.set(key, JSON.parse(sessionStorage.getItem(PREFIX + key) ?? "null"));
    } catch {
      return null;
    }
  }
  return kept.get(key) as T | null;
}

function keep(key: string, value: unknown): void {
  kept.set(key, value);
  try {
    sessionStorage.setItem(PREFIX + key, JSON.stringify(value));
  } catch {
    // a private window, or full: it is kept as long as the page
  }
}

/** As `useState`, with what was there under `key` before; `first` where nothing was, or null. */
export function useKept<T>(key: string, first: T): [T, (next: T | ((before: T) => T)) => void] {
  const [value, setValue] = useState<T>(() => recall<T>(key) ?? first);
  useLayoutEffect(() => keep(key, value), [key, value]);
  return [value, setValue];
}

/** What begins with `prefix` is over. */
export function forget(prefix: string): void {
  for (const key of kept.keys()) if (key.startsWith(prefix)) keep(key, null);
}
