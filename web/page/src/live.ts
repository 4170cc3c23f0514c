// The live state: a stream that comes back by itself, and how old its last word is.
import { useEffect, useState } from "preact/hooks";
import type { Live } from "./api";

export interface Word {
  live: Live | null;
  /** Age of what is shown, s by the machine's own clock; Infinity when nothing came yet. */
  age_s: number;
  stale: boolean;
}

/** Older than three ticks, and never less than this, is old data. */
const OLD_S = 5;

export function useLive(): Word {
  const [live, setLive] = useState<Live | null>(null);
  const [arrived, setArrived] = useState(0);
  const [now, setNow] = useState(() => performance.now());

  useEffect(() => {
    let source: EventSource | null = null;
    let retry = 0;
    const open = (): void => {
      source = new EventSource("api/stream");
      source.addEventListener("live", (event) => {
        setLive(JSON.parse((event as MessageEvent<string>).data) as Live);
        setArrived(performance.now());
        setNow(performance.now());
      });
      source.onerror = () => {
        if (source?.readyState === EventSource.CLOSED) {
          retry = window.setTimeout(open, 2000);
        }
      };
    };
    open();
    const clock = window.setInterval(() => setNow(performance.now()), 1000);
    return () => {
      source?.close();
      window.clearTimeout(retry);
      window.clearInterval(clock);
    };
  }, []);

  if (live === null) return { live, age_s: Infinity, stale: true };
  const age_s = Math.max(0, live.now_s - live.host_s) + Math.max(0, now - arrived) / 1000;
  return { live, age_s, stale: age_s > Math.max(OLD_S, (3 * live.tick_s) / live.speed) };
}
