// The figures of the moment: temperatures as a row of equals, the heater, the end.
import type { Live } from "../types";
import { age, duration, FAULTS, hour, inUnits, temperature } from "../words";

/** Readings older than this are told, s. */
const OLD_S = 15;

export function Figures({ live, stale }: { live: Live; stale: boolean }) {
  const u = live.units;
  const oldest = Math.max(0, ...live.thermometers.map((t) => t.age_s));
  const others = live.thermometers.filter((t) => t.role !== "air");
  const [air, ...spare] = live.thermometers.filter((t) => t.role === "air");
  const lost = live.control_c === null ? (air?.fault ?? null) : null;
  return (
    <section class="figures" aria-label={stale ? "Last known" : "Now"}>
      <dl class="temps">
        <Cell name="Air" id="air" bad={lost !== null}>{lost ? (FAULTS[lost] ?? lost) : `${temperature(live.control_c, u)} °${u}`}</Cell>
        {live.setpoint_c !== null && <Cell name="Setpoint" id="setpoint">{temperature(live.setpoint_c, u)} °{u}</Cell>}
        {[...spare, ...others].map((t) => (
          <Cell key={t.id} name={t.name} bad={t.fault !== null}>
            {t.fault ? (FAULTS[t.fault] ?? t.fault) : `${temperature(t.value_c, u)} °${u}`}
          </Cell>
        ))}
      </dl>
      <dl class="facts">
        <div>
          <dt>Heater</dt>
          <dd data-testid="heater">
            <i class={live.heater && !stale ? "coal lit" : "coal"} aria-hidden="true" />
            {heat(live)}
          </dd>
        </div>
        {live.ends_s !== null && live.left_s !== null && (
          <div>
            <dt>Ends</dt>
            <dd>{ends(live)}</dd>
          </div>
        )}
        {live.clock_set === false && (
          <div>
            <dt>Clock</dt>
            <dd>not set yet: the hours shown may be wrong, the night is timed all the same</dd>
          </div>
        )}
        {oldest > OLD_S && (
          <div>
            <dt>Oldest reading</dt>
            <dd>{age(oldest)}</dd>
          </div>
        )}
      </dl>
      {live.why_off && live.why_off.code !== "no-night" && !live.trip && !live.box_open && <p class="quiet small">{inUnits(live.why_off.sentence, u)}</p>}
    </section>
  );
}

function heat({ duty, heater, power_w }: Live): string {
  if (duty === 0 && !heater) return "off";
  return `${Math.round(duty * 100)} % of full heat, ${Math.round(duty * power_w)} W${heater ? "" : " (off just now)"}`;
}

/** The end as far as it is known: a cure may end it sooner, a wait may put it off. */
function ends({ ends_s, left_s, most_s, waiting, wall_s }: Live): string {
  if (waiting) return `${hour(ends_s!)} at the earliest`;
  const about = `about ${hour(ends_s!)}, in ${duration(left_s!)}`;
  if (most_s == null) return about;
  return most_s - left_s! > 600 ? `${about}; ${hour(wall_s + most_s)} at most` : `${hour(wall_s + most_s)} at most`;
}

function Cell({ name, id, bad, children }: { name: string; id?: string; bad?: boolean; children: preact.ComponentChildren }) {
  return (
    <div class={bad ? "bad" : ""}>
      <dt>{name}</dt>
      <dd data-testid={id}>{children}</dd>
    </div>
  );
}
