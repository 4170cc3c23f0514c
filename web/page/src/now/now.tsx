// The screen for the night itself.
import { NightStrip } from "../strip/night-strip";
import type { Live, Samples } from "../types";
import { FAULTS, ROLES, temperature } from "../words";
import { Alarms } from "./alarms";
import { Box } from "./box";
import { Cure } from "./cure";
import { Figures } from "./figures";
import { Happenings } from "./happenings";
import { Steer } from "./steer";
import { useNight } from "./tonight";

/** Drawn while the night is fetched, so that nothing below moves when it comes. */
const NOTHING_YET: Samples = { seq: [], wall_s: [], setpoint_c: [], control_c: [], duty: [], believed: [] };

export function Now({ live, stale, happened }: { live: Live; stale: boolean; happened: number }) {
  const samples = useNight(live);
  return (
    <>
      <Alarms live={live} />
      <Figures live={live} stale={stale} />
      <section class="strip" aria-labelledby="strip-title">
        <h2 id="strip-title">The night</h2>
        {samples === null ? (
          <p class="quiet">No night has been recorded yet. <a href="#start">Start one</a>.</p>
        ) : (
          <NightStrip samples={samples ?? NOTHING_YET} live={live} thermometers={live.thermometers} running />
        )}
      </section>
      <div class="column">
        <Steer live={live} stale={stale} />
        <Box live={live} stale={stale} />
        <Cure live={live} />
        <Thermometers live={live} />
      </div>
      <Happenings live={live} happened={happened} />
    </>
  );
}

function Thermometers({ live }: { live: Live }) {
  return (
    <section class="probes" aria-labelledby="probes-title">
      <h2 id="probes-title">Thermometers</h2>
      <ul class="list">
        {live.thermometers.map((t) => (
          <li key={t.id} class={t.fault ? "bad" : ""}>
            <span>{t.name} <small class="quiet">{ROLES[t.role]}</small></span>
            <span>{t.fault ? (FAULTS[t.fault] ?? t.fault) : `${temperature(t.value_c, live.units)} °${live.units}`}</span>
          </li>
        ))}
      </ul>
    </section>
  );
}
