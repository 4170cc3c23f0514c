// The night's series: fetched thinned, then grown from the live stream.
import { useEffect, useRef, useState } from "preact/hooks";
import { get } from "../api";
import type { Live, NightRow, Samples } from "../types";

const POINTS = 900;
/** Beyond so many points the series is fetched anew, thinned. */
const MOST = 2400;
/** While no night is known, another one is asked for no oftener than this: an oven that rests has none to tell. */
const ASKED_MS = 60_000;
/** Grown no oftener than this: a demo's hours in minutes are not drawn at every word. */
const GROWN_MS = 1000;

/** Asked for while the first live word is on its way. */
let first: Promise<NightRow[]> | null = get<NightRow[]>("nights?limit=1");
first.catch(() => undefined);

export interface Shown {
  /** Of the running night, else of the last one; undefined until known, null if there is none. */
  samples: Samples | null | undefined;
  /** That night's number. */
  id: number | null;
}

export function useNight(live: Live): Shown {
  const [samples, setSamples] = useState<Samples | null>();
  const shown = useRef<number | null>(null);
  const busy = useRef(false);
  const grown_ms = useRef(0);
  const asked_ms = useRef(-Infinity);
  const running = live.night_id;

  const fetchNight = async (id: number): Promise<void> => {
    if (busy.current) return;
    busy.current = true;
    try {
      const fresh = await get<Samples>(`nights/${id}/samples?points=${POINTS}`);
      shown.current = id;
      setSamples(fresh);
    } catch {
      asked_ms.current = -Infinity; // the next live word tries again
    } finally {
      busy.current = false;
    }
  };

  useEffect(() => {
    if (running === null) {
      if (shown.current === null && performance.now() - asked_ms.current > ASKED_MS) {
        asked_ms.current = performance.now();
        const asked = first ?? get<NightRow[]>("nights?limit=1");
        first = null;
        asked.then(
          (nights) => (nights[0] ? void fetchNight(nights[0].id) : setSamples(null)),
          () => (asked_ms.current = -Infinity), // the next live word tries again
        );
      }
      return;
    }
    if (shown.current !== running || !samples || samples.seq.length > MOST) {
      void fetchNight(running);
      return;
    }
    const last = samples.seq[samples.seq.length - 1] ?? -1;
    if (live.seq <= last || performance.now() - grown_ms.current < GROWN_MS) return;
    grown_ms.current = performance.now();
    setSamples({
      seq: [...samples.seq, live.seq],
      wall_s: [...samples.wall_s, live.wall_s],
      setpoint_c: [...samples.setpoint_c, live.setpoint_c],
      control_c: [...samples.control_c, live.control_c],
      duty: [...samples.duty, live.duty],
      believed: live.thermometers.map((t, i) => [...(samples.believed[i] ?? []), t.value_c]),
    });
  }, [live]);

  return { samples, id: shown.current };
}
