// A cup of the resin, timed: mixed now, gelled now; it makes one row of gel times.
import { useEffect, useState } from "preact/hooks";
import { NumberField } from "../fields";
import { useKept } from "../kept";
import type { Units } from "../types";
import { celsius, degrees, duration } from "../words";
import type { GelRow } from "./new-card";

interface Timed {
  /** When it was mixed, this phone's clock, ms; null while nothing is timed. */
  mixed_ms: number | null;
  at_c: number;
  pct: number;
}

export function Cup({ fixed, units: u, onRow }: { fixed: boolean; units: Units; onRow: (row: GelRow) => void }) {
  const [cup, setCup] = useKept<Timed>("cup", { mixed_ms: null, at_c: 20, pct: 2 });
  const [now_ms, setNow] = useState(Date.now());
  const timing = cup.mixed_ms !== null;
  useEffect(() => {
    if (!timing) return;
    const timer = window.setInterval(() => setNow(Date.now()), 5000);
    return () => window.clearInterval(timer);
  }, [timing]);
  return (
    <details class="fold" open={timing}>
      <summary>Time a cup of your own resin</summary>
      <div class="stack">
        <p class="quiet small">
          A spoonful spread 3 mm deep in a lid, at a temperature that stays. A full cup warms itself and gels too early. Prick it every minute towards the end: it has gelled when it no longer runs together.
        </p>
        <div class="row">
          <NumberField label="it stands at" unit={`°${u}`} range={[degrees(0, u), degrees(45, u)]} value={degrees(cup.at_c, u)} onChange={(v) => setCup({ ...cup, at_c: +celsius(v, u).toFixed(2) })} />
          {!fixed && <NumberField label="catalyst, as weighed" unit="%" range={[0.1, 5]} value={cup.pct} onChange={(pct) => setCup({ ...cup, pct })} />}
        </div>
        {cup.mixed_ms === null ? (
          <button type="button" class="main" onClick={() => { setNow(Date.now()); setCup({ ...cup, mixed_ms: Date.now() }); }}>Mixed now</button>
        ) : (
          <div class="row">
            <p role="timer">Mixed {duration((now_ms - cup.mixed_ms) / 1000)} ago.</p>
            <button
              type="button"
              class="main"
              onClick={() => {
                const minutes = Math.max(1, Math.round((Date.now() - cup.mixed_ms!) / 60_000));
                onRow({ temp_c: String(cup.at_c), pct: fixed ? "" : String(cup.pct), minutes: String(minutes) });
                setCup({ ...cup, mixed_ms: null });
              }}
            >
              It has gelled
            </button>
            <button type="button" class="plain" onClick={() => setCup({ ...cup, mixed_ms: null })}>Give this one up</button>
          </div>
        )}
      </div>
    </details>
  );
}
