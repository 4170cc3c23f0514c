// The live state: a stream that comes back by itself, how old its last word is, and who is silent.
import { useEffect, useRef, useState } from "preact/hooks";
import { get, Refused } from "./api";
import type { Live } from "./types";

/**
 * `waiting`: nobody was asked yet, at first or after the phone slept; `silent`: the controller writes nothing new; `gone`: the page's server does not answer;
 * `locked`: whoever watches must log in.
 */
export type Standing = "waiting" | "fresh" | "silent" | "gone" | "locked";

export interface Word {
  live: Live | null;
  /** Age of what is shown, s by the machine's own clock; Infinity when nothing came yet. */
  age_s: number;
  standing: Standing;
  /** The latest event's number: whoever lists events looks again when it changes. */
  happened: number;
}

/** Older than three ticks, and never less than this, is old data. */
const OLD_S = 5;
/** Nothing at all for so long at first: ask who is missing. */
const FIRST_S = 3;
const RETRY_MS = 2000;

interface Arrival {
  live: Live | null;
  steady_ms: number;
  wall_ms: number;
}

/** Time since an arrival; a phone that slept stops one of the two clocks. */
const since_s = (a: Arrival): number =>
  Math.max(performance.now() - a.steady_ms, Date.now() - a.wall_ms, 0) / 1000;

function ageOf(a: Arrival): number {
  return a.live === null ? Infinity : Math.max(0, a.live.now_s - a.live.host_s) + since_s(a);
}

const nothing = (): Arrival => ({ live: null, steady_ms: performance.now(), wall_ms: Date.now() });

export function useLive(): Word {
  const [arrival, setArrival] = useState<Arrival>(nothing);
  const [happened, setHappened] = useState(0);
  const [missing, setMissing] = useState<"silent" | "gone" | "locked" | null>(null);
  const [, setBeat] = useState(0);
  const latest = useRef(arrival);
  latest.current = arrival;

  useEffect(() => {
    let source: EventSource | null = null;
    let retry = 0;
    let asking = false;
    /** The server had news that this stream had not brought: another one was begun. */
    let anew = false;
    const open = (): void => {
      window.clearTimeout(retry);
      source?.close();
      const own = (source = new EventSource("api/stream"));
      own.addEventListener("live", (event) => {
        const live = JSON.parse((event as MessageEvent<string>).data) as Live;
        setArrival({ live, steady_ms: performance.now(), wall_ms: Date.now() });
        setMissing(null);
        anew = false;
      });
      own.addEventListener("happened", (event) => {
        const { id } = JSON.parse((event as MessageEvent<string>).data) as { id?: number };
        setHappened((before) => id ?? before + 1);
      });
      own.onerror = () => {
        if (own.readyState === EventSource.CLOSED && own === source) {
          retry = window.setTimeout(open, RETRY_MS);
        }
      };
    };
    const whoIsMissing = async (): Promise<void> => {
      if (asking) return;
      asking = true;
      try {
        const { now_s = 0, host_s } = await get<Partial<Live>>("status", 4000);
        const news = host_s !== undefined && now_s - host_s < ageOf(latest.current) - OLD_S;
        if (!news || anew) setMissing("silent");
        anew = news;
        if (news || source?.readyState !== EventSource.OPEN) open();
      } catch (error) {
        const status = error instanceof Refused ? error.status : 0;
        setMissing(status === 401 ? "locked" : status === 0 ? "gone" : "silent");
      } finally {
        asking = false;
      }
    };
    const beat = (): void => {
      setBeat((n) => n + 1);
      const { live } = latest.current;
      if (live === null ? since_s(latest.current) > FIRST_S : isOld(latest.current)) void whoIsMissing();
    };
    const back = (): void => {
      if (document.visibilityState !== "visible") return;
      open();
      beat(); // what was shown when the phone fell asleep looks old at once
    };
    open();
    const clock = window.setInterval(beat, 1000);
    document.addEventListener("visibilitychange", back);
    return () => {
      source?.close();
      window.clearTimeout(retry);
      window.clearInterval(clock);
      document.removeEventListener("visibilitychange", back);
    };
  }, []);

  const standing = isOld(arrival) ? (missing ?? "waiting") : "fresh";
  const live = standing === "locked" ? null : arrival.live;
  return { live, age_s: ageOf(arrival), standing, happened };
}

function isOld(a: Arrival): boolean {
  return a.live === null || ageOf(a) > Math.max(OLD_S, (3 * a.live.tick_s) / a.live.speed);
}
