// The parts of the night: how much resin, how much catalyst, mixed when.
import { NumberField } from "../fields";
import type { Part, Profile } from "../types";

interface Props {
  profile: Profile;
  onChange: (profile: Profile) => void;
}

export function Parts({ profile, onChange }: Props) {
  const parts = profile.parts ?? [];
  if (parts.length === 0) return null;
  const set = (i: number, what: Partial<Part>): void =>
    onChange({ ...profile, parts: parts.map((p, j) => (j === i ? { ...p, ...what } : p)) });
  return (
    <section class="night-parts" aria-labelledby="parts-title">
      <h2 id="parts-title">Parts tonight</h2>
      <ul>
        {parts.map((p, i) => (
          <li key={p.name} aria-label={p.name}>
            <b>{p.name}</b> <small class="quiet">{p.card}</small>
            <div class="row">
              <NumberField label="resin" unit="kg" value={p.resin_kg} onChange={(resin_kg) => set(i, { resin_kg })} />
              {p.catalyst_pct != null && (
                // Without its figures the server reads them anew from the card, at this share.
                <NumberField label="catalyst" unit="%" value={p.catalyst_pct} onChange={(catalyst_pct) => set(i, { catalyst_pct, figures: null })} />
              )}
              <NumberField label="mixed after the start" unit="h" value={p.start_h ?? 0} onChange={(start_h) => set(i, { start_h })} hint="before it with a minus" />
            </div>
          </li>
        ))}
      </ul>
    </section>
  );
}
