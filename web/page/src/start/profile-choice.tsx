// How it is heated: the profile chosen, the others folded.
import { corners } from "../course";
import type { Offer, Profile, Units } from "../types";
import { duration, inUnits, MILESTONES, plain, steps, temperature } from "../words";

interface Props {
  offers: Offer[];
  chosen: string | null;
  profile: Profile | null;
  start_c: number;
  units: Units;
  onChoose: (offer: Offer) => void;
  onDelete: (name: string) => void;
}

export function ProfileChoice({ offers, chosen, profile, start_c, units, onChoose, onDelete }: Props) {
  const own = offers.some((o) => o.own && o.profile.name === chosen);
  return (
    <>
      {profile && (
        <p class="chosen-profile">
          <b>{profile.name}</b>{own && <small class="tag"> yours</small>}
          <br />
          <span class="quiet">{inWords(profile, start_c, units)}</span>
        </p>
      )}
      <details class="fold">
        <summary>Another profile</summary>
        <fieldset class="offers">
          <legend class="sr">Profile</legend>
          {offers.map((offer) => {
            const { profile: p, refusals } = offer;
            return (
              <label key={`${offer.own}${p.name}`} class={p.name === chosen ? "offer chosen" : "offer"}>
                <input type="radio" name="profile" checked={p.name === chosen} onChange={() => onChoose(offer)} />
                <span>
                  <b>{p.name}</b> {offer.own && <small class="tag">yours</small>}
                  <small class="quiet">{inWords(p, start_c, units)}</small>
                  {refusals.map((r) => <small class="refusal" key={r}>{inUnits(r, units)}</small>)}
                </span>
              </label>
            );
          })}
        </fieldset>
        {own && chosen && <button type="button" class="small" onClick={() => onDelete(chosen)}>Delete '{chosen}' …</button>}
      </details>
    </>
  );
}

export function inWords(profile: Profile, start_c: number, units: Units): string {
  const points = corners(profile.segments, start_c);
  const hours = points[points.length - 1]![0];
  const parts = profile.segments.map((s) => {
    if (s.kind === "ramp") {
      const wait = s.wait_for ? `once ${MILESTONES[s.wait_for].long}, ` : "";
      const below = s.tg_margin_k ? `, ${plain(steps(s.tg_margin_k, units))} ${units === "F" ? "°F" : "K"} below the parts' glass transition` : "";
      return `${wait}to ${temperature(s.to_c, units, 0)} °${units} at ${plain(steps(s.rate_c_per_h, units))} °${units}/h${below}`;
    }
    if (s.kind === "soak") {
      const ends = [
        s.until ? MILESTONES[s.until].long : "",
        s.until_tg_c ? `its glass transition is at ${temperature(s.until_tg_c, units, 0)} °${units}` : "",
        s.until_degree ? `${plain(100 * s.until_degree)} % cured` : "",
      ].filter(Boolean);
      const until = ends.length > 0 ? `until ${ends.join(" and ")}, at most ` : "";
      return `${until}${plain(s.hours, 2)} h at ${temperature(s.at_c, units, 0)} °${units}`;
    }
    return `cool below ${temperature(s.below_c, units, 0)} °${units}`;
  });
  const said = parts.join(", then ");
  return `${said[0]!.toUpperCase()}${said.slice(1)}. About ${duration(hours * 3600)}.`;
}
