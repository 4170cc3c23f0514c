// Steering a night that runs: the next segment, a longer or shorter soak, another setpoint.
import { useState } from "preact/hooks";
import { post } from "../api";
import { held } from "../course";
import { NumberField } from "../fields";
import { Asked } from "../sheet";
import type { Live } from "../types";
import { celsius, degrees, duration, hour, inUnits, plain, steps } from "../words";

type Open = "skip" | "extend" | "setpoint" | null;
const WORDS = { ramp: "ramp", soak: "soak", cool: "cool-down" };

export function Steer({ live, stale }: { live: Live; stale: boolean }) {
  const [open, setOpen] = useState<Open>(null);
  const { phase } = live;
  if (phase !== "ramp" && phase !== "soak" && phase !== "cool") return null;
  const close = (): void => setOpen(null);
  return (
    <section class="steer" aria-labelledby="steer-title">
      <h2 id="steer-title">Steer</h2>
      <div class="row">
        {phase === "soak" && (
          <button class="plain" disabled={stale} onClick={() => setOpen("extend")}>Longer or shorter …</button>
        )}
        {phase !== "cool" && (
          <button class="plain" disabled={stale} onClick={() => setOpen("setpoint")}>Another setpoint …</button>
        )}
        <button class="plain" disabled={stale} onClick={() => setOpen("skip")}>Skip this {WORDS[phase]} …</button>
      </div>
      {open === "skip" && (
        <Asked title={`Skip this ${WORDS[phase]}?`} yes={`Skip the ${WORDS[phase]}`} what={() => post("commands/skip")} onClose={close}>
          <p>{inUnits(live.next, live.units)} {afterSkip(live)}</p>
        </Asked>
      )}
      {open === "extend" && <Extend live={live} onClose={close} />}
      {open === "setpoint" && <Setpoint live={live} onClose={close} />}
    </section>
  );
}

function afterSkip(live: Live): string {
  const last = live.segment !== null && live.segment + 1 >= live.segments;
  return last ? "Skipping it ends the night; the heater goes off." : "Skipping it goes straight to what comes next.";
}

function Extend({ live, onClose }: { live: Live; onClose: () => void }) {
  const [minutes, setMinutes] = useState(30);
  const ends_s = (live.ends_s ?? live.wall_s) + minutes * 60;
  return (
    <Asked
      title="A longer or shorter soak"
      yes={minutes < 0 ? "Shorten the soak" : "Lengthen the soak"}
      ready={minutes !== 0}
      what={() => post("commands/extend", { minutes })}
      onClose={onClose}
    >
      <div class="row">
        {[-60, -30, -15, 15, 30, 60].map((m) => (
          <button type="button" key={m} class={m === minutes ? "plain chosen" : "plain"} aria-pressed={m === minutes} onClick={() => setMinutes(m)}>
            {m > 0 ? "+" : "−"}{Math.abs(m)} min
          </button>
        ))}
      </div>
      <NumberField
        label="Minutes more; with a minus, fewer"
        unit="min"
        range={[-live.limits.longest_night_h * 60, live.limits.longest_night_h * 60]}
        value={minutes}
        onChange={setMinutes}
        hint={`The whole night may last ${plain(live.limits.longest_night_h)} h; a soak cannot end before now.`}
      />
      <p>The night then ends about {hour(ends_s)}, {duration(Math.max(0, ends_s - live.wall_s))} from now.</p>
    </Asked>
  );
}

function Setpoint({ live, onClose }: { live: Live; onClose: () => void }) {
  const u = live.units;
  const segment = live.profile?.segments[live.segment ?? 0];
  const aim_c = segment?.kind === "ramp" ? segment.to_c : segment?.kind === "soak" ? segment.at_c : (live.setpoint_c ?? 20);
  const after = live.profile?.segments[(live.segment ?? 0) + 1];
  const told =
    segment?.kind !== "ramp" ? "It holds for the rest of this soak."
    : held(segment, after) ? "The ramp goes there, and the soak after it holds it."
    : "The ramp goes there; what follows stays as it is.";
  const [shown, setShown] = useState(() => degrees(aim_c, u));
  const highest_c = live.limits.hottest_soak_c;
  const to_c = celsius(shown, u);
  return (
    <Asked
      title="Another setpoint"
      yes="Change the setpoint"
      what={() => post("commands/setpoint", { celsius: +to_c.toFixed(3) })}
      onClose={onClose}
    >
      <p>{told}</p>
      <NumberField
        label="Setpoint"
        unit={`°${u}`}
        value={shown}
        onChange={setShown}
        range={[degrees(0, u), degrees(highest_c, u)]}
        hint={`From ${plain(degrees(0, u))} to ${plain(degrees(highest_c, u))} °${u}. The setpoint moves there by at most ${plain(steps(live.limits.ramp_c_per_h, u))} °${u} an hour.`}
      />
    </Asked>
  );
}
