// What is true now, in figures that can be read across a room.
import type { Live } from "../types";
import { age, duration, FAULTS, hour, inUnits, PHASES, temperature } from "../words";

export function Figures({ live, stale }: { live: Live; stale: boolean }) {
  const u = live.units;
  const parts = live.thermometers.filter((t) => t.role === "part" || t.role === "mould");
  const oldest = Math.max(0, ...live.thermometers.map((t) => t.age_s));
  return (
    <section class="figures" aria-label={stale ? "Last known" : "Now"}>
      <p class="phase">
        <b class={`word ${live.phase}`}>{PHASES[live.phase]}</b>
        {live.segment !== null && <span class="quiet">{live.segment + 1} of {live.segments}</span>}
      </p>
      <p class="next">{inUnits(live.next, u)}</p>
      <div class="pair">
        <p>
          <span class="quiet">air{stale ? ", last known" : ""}</span>
          <span class="big" data-testid="air">{temperature(live.control_c, u)}<sup>°{u}</sup></span>
        </p>
        {live.setpoint_c !== null && (
          <p class="setpoint">
            <span class="quiet">setpoint</span>
            <span class="middle" data-testid="setpoint">{temperature(live.setpoint_c, u)}°</span>
          </p>
        )}
      </div>
      <ul class="parts">
        {parts.map((t) => (
          <li key={t.id}>
            <span class="quiet">{t.name}</span>
            <span class="large">{t.fault ? (FAULTS[t.fault] ?? t.fault) : `${temperature(t.value_c, u)}°`}</span>
          </li>
        ))}
      </ul>
      <dl class="facts">
        <div>
          <dt>heater</dt>
          <dd data-testid="heater">
            <i class={live.heater ? "coal lit" : "coal"} aria-hidden="true" />
            {live.heater ? "on" : "off"}, {Math.round(live.duty * 100)} % duty of {live.power_w}&nbsp;W
            {live.why_off && live.why_off.code !== "no-night" && <p class="quiet small">{live.why_off.sentence}</p>}
          </dd>
        </div>
        {live.left_s !== null && (
          <div>
            <dt>ends</dt>
            <dd>{live.ends_s !== null && `${hour(live.ends_s)}, `}{duration(live.left_s)} left{live.waiting ? " at least" : ""}</dd>
          </div>
        )}
        {live.clock_set === false && (
          <div>
            <dt>clock</dt>
            <dd>not set yet: the hours shown may be wrong, the night is timed all the same</dd>
          </div>
        )}
        <div>
          <dt>oldest reading</dt>
          <dd>{age(oldest)}</dd>
        </div>
      </dl>
    </section>
  );
}
