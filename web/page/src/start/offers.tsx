// Profiles to choose from: those that ship, and those saved here.
import { corners } from "../course";
import type { Offer, Profile, Units } from "../types";
import { duration, inUnits, MILESTONES, plain, steps, temperature } from "../words";

interface Props {
  offers: Offer[];
  chosen: string | null;
  start_c: number;
  units: Units;
  onChoose: (offer: Offer) => void;
  onDelete: (name: string) => void;
}

export function Offers({ offers, chosen, start_c, units, onChoose, onDelete }: Props) {
  return (
    <fieldset class="offers">
      <legend class="sr">Profile</legend>
      {offers.map((offer) => {
        const { profile: p, refusals, own } = offer;
        return (
          <div key={`${own}${p.name}`} class={p.name === chosen ? "offer chosen" : "offer"}>
            <label>
              <input type="radio" name="profile" checked={p.name === chosen} onChange={() => onChoose(offer)} />
              <Sketch profile={p} start_c={start_c} />
              <span>
                <b>{p.name}</b> {own && <small class="tag">yours</small>}
                <small class="quiet">{inWords(p, start_c, units)}</small>
                {refusals.map((r) => <small class="refusal" key={r}>{inUnits(r, units)}</small>)}
              </span>
            </label>
            {own && p.name === chosen && (
              <button type="button" class="small" onClick={() => onDelete(p.name)}>Delete it …</button>
            )}
          </div>
        );
      })}
    </fieldset>
  );
}

function Sketch({ profile, start_c }: { profile: Profile; start_c: number }) {
  const points = corners(profile.segments, start_c);
  const width = points[points.length - 1]![0] || 1;
  const top = Math.max(...points.map((p) => p[1]));
  const low = Math.min(...points.map((p) => p[1]));
  const path = points
    .map(([h, c]) => `${(4 + (h / width) * 92).toFixed(1)},${(40 - ((c - low) / (top - low || 1)) * 34).toFixed(1)}`)
    .join(" ");
  return (
    <svg class="sketch" viewBox="0 0 100 46" aria-hidden="true">
      <polyline points={path} />
    </svg>
  );
}

export function inWords(profile: Profile, start_c: number, units: Units): string {
  const points = corners(profile.segments, start_c);
  const hours = points[points.length - 1]![0];
  const parts = profile.segments.map((s) => {
    if (s.kind === "ramp") {
      const wait = s.wait_for ? `, once ${MILESTONES[s.wait_for].long},` : "";
      return `${wait} to ${temperature(s.to_c, units, 0)}° at ${plain(steps(s.rate_c_per_h, units))}°/h`.replace(/^, /, "");
    }
    if (s.kind === "soak") {
      const until = s.until ? `until ${MILESTONES[s.until].long}, at most ` : "";
      return `${until}${plain(s.hours, 2)} h at ${temperature(s.at_c, units, 0)}°`;
    }
    return `cool below ${temperature(s.below_c, units, 0)}°`;
  });
  return `${parts.join("; ")}. About ${duration(hours * 3600)}.`.trim();
}
