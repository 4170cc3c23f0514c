// How much of the lower explosive limit the resin's vapour may reach in the box.
import { Meter, Tick } from "../fields";
import type { Profile, Vapour } from "../types";

export const ASK_PCT = 25;
export const REFUSE_PCT = 50;

interface Props {
  vapour: Vapour;
  profile: Profile;
  onChange: (profile: Profile) => void;
}

export function VapourShare({ vapour, profile, onChange }: Props) {
  const pct = Math.round(vapour.percent_lel);
  const much = vapour.percent_lel >= REFUSE_PCT;
  const ask = !much && vapour.percent_lel >= ASK_PCT;
  const { box } = profile;
  const fresh = vapour.ventilation_m3_per_h
    ? ` ${vapour.ventilation_m3_per_h.toFixed(1)} m³ of fresh air an hour keep it under ${ASK_PCT} %.`
    : "";
  return (
    <section class="vapour" aria-labelledby="vapour-title">
      <h2 id="vapour-title">Vapour</h2>
      <Meter pct={pct} level={much ? "much" : ask ? "some" : ""} />
      <p class={much ? "refusal" : ""}>
        Up to {pct} % of the lower explosive limit.
        {much && ` The oven does not start at ${REFUSE_PCT} % or more.${fresh}`}
        {ask && ` Ovens are kept under ${ASK_PCT} %.${fresh}`}
      </p>
      {ask && box && (
        <Tick
          checked={box.i_accept_vapour_above_25_percent ?? false}
          onChange={(yes) => onChange({ ...profile, box: { ...box, i_accept_vapour_above_25_percent: yes } })}
        >
          I know, there is no spark in the box, and I accept it for this night.
        </Tick>
      )}
    </section>
  );
}
