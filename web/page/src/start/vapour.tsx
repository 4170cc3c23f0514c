// How much of the lower explosive limit the resin's vapour may reach in the box.
import { Meter } from "../fields";
import type { Vapour } from "../types";

export const MOST_PCT = 25;

export function VapourShare({ vapour }: { vapour: Vapour }) {
  const pct = Math.round(vapour.percent_lel);
  const much = vapour.percent_lel > MOST_PCT;
  const fresh = vapour.ventilation_m3_per_h
    ? ` ${vapour.ventilation_m3_per_h.toFixed(1)} m³ of ducted fresh air an hour keep it under that.`
    : "";
  return (
    <section class="vapour" aria-labelledby="vapour-title">
      <h2 id="vapour-title">Vapour</h2>
      <Meter pct={pct} level={much ? "much" : ""} />
      <p class={much ? "refusal" : ""}>
        Up to {pct} % of the lower explosive limit.
        {much && ` The oven does not start above ${MOST_PCT} %: let more of it gel and air outside.${fresh}`}
      </p>
    </section>
  );
}
