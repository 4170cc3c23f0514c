// The screen for the night itself: the parts first, then how the oven gets there.
import { NightStrip } from "../strip/night-strip";
import { unheard, useTelling } from "../telling";
import type { Live, Samples } from "../types";
import { Alarms } from "./alarms";
import { Box } from "./box";
import { PartRows } from "./cure";
import { Figures } from "./figures";
import { GelCups } from "./gel-cup";
import { Happenings } from "./happenings";
import { StateLine } from "./state-line";
import { Steer } from "./steer";
import { useNight } from "./tonight";

/** Drawn while the night is fetched: nothing moves when it comes. So with the buttons: none waits for what is fetched. */
const NOTHING_YET: Samples = { seq: [], wall_s: [], setpoint_c: [], control_c: [], duty: [], believed: [] };

export function Now({ live, stale, happened }: { live: Live; stale: boolean; happened: number }) {
  const { samples, id } = useNight(live);
  const silent = unheard(useTelling(), Date.now() / 1000);
  return (
    <>
      <Alarms live={live} />
      <div class="column first">
        <StateLine live={live} stale={stale} />
        {silent && <p class="refusal">{silent}</p>}
        {live.phase === "idle" && !stale && <p><a class="button main" href="#start">Plan and start a night</a></p>}
        {live.phase === "done" && (
          <p><a class="button main" href={id === null ? "#nights" : `#nights/${id}`}>What may be done next</a></p>
        )}
        <PartRows parts={live.cure ?? []} now_s={live.wall_s} />
        <Figures live={live} stale={stale} />
        <Steer live={live} stale={stale} />
        <Box live={live} stale={stale} />
        {live.cups && <GelCups live={live} stale={stale} />}
      </div>
      <div class="column">
        <section class="strip" aria-labelledby="strip-title">
          <h2 id="strip-title">{live.night_id === null ? "The last course" : "Tonight's course"}</h2>
          {samples === null ? (
            <p class="quiet plot none">No night has been recorded yet.</p>
          ) : (
            <NightStrip samples={samples ?? NOTHING_YET} live={live} thermometers={live.thermometers} running />
          )}
        </section>
        <Happenings live={live} happened={happened} />
      </div>
    </>
  );
}
