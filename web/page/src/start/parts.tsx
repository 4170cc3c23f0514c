// The parts of the night: which resin, how much of it, how much catalyst, mixed when.
import { useEffect, useState } from "preact/hooks";
import { get } from "../api";
import { NumberField } from "../fields";
import type { Box, CardOffer, Part, Profile, Thermometer, Units } from "../types";
import { celsius, degrees } from "../words";

/** Until a person has said more: a small box, no fresh air, all that a wet lay-up gives off. */
const UNKNOWN_BOX: Box = { volume_m3: 0.4, air_changes_per_h: 0 };

/** Where a part gels before the box is shut, until a person says otherwise. */
const WARM_CORNER_C = 20;

interface Props {
  profile: Profile;
  thermometers: Thermometer[];
  units: Units;
  onChange: (profile: Profile) => void;
}

export function Parts({ profile, thermometers, units, onChange }: Props) {
  const [cards, setCards] = useState<CardOffer[]>([]);
  useEffect(() => {
    get<CardOffer[]>("cards").then(setCards, () => undefined);
  }, []);
  const parts = profile.parts ?? [];
  const keep = (next: Part[]): void => onChange({ ...profile, parts: next, box: profile.box ?? UNKNOWN_BOX });
  const box = profile.box ?? UNKNOWN_BOX;
  const air = (what: Partial<Box>): void => onChange({ ...profile, box: { ...box, ...what } });
  const add = (card: CardOffer): void => {
    const taken = new Set(parts.map((p) => p.sensor));
    const sensor = thermometers.find((t) => (t.role === "part" || t.role === "mould") && !taken.has(t.name))?.name ?? null;
    const catalyst_pct = card.least_pct === null ? null : Math.min(Math.max(2, card.least_pct), card.most_pct ?? 2);
    const name = sensor ?? `Part ${parts.length + 1}`;
    keep([...parts, { name, card: card.name, catalyst_pct, resin_kg: 0.5, sensor, start_h: 0 }]);
  };
  const set = (i: number, what: Partial<Part>): void =>
    onChange({ ...profile, parts: parts.map((p, j) => (j === i ? { ...p, ...what } : p)) });
  return (
    <section class="night-parts" aria-labelledby="parts-title">
      <h2 id="parts-title">Parts tonight</h2>
      <ul>
        {parts.map((p, i) => (
          <li key={p.name} aria-label={p.name}>
            <b>{p.name}</b> <small class="quiet">{cards.find((c) => c.name === p.card)?.title ?? p.card}, {p.sensor ? `measured by ${p.sensor}` : "by the air"}</small>
            <div class="row">
              <NumberField label="resin" unit="kg" value={p.resin_kg} onChange={(resin_kg) => set(i, { resin_kg })} />
              {p.catalyst_pct != null && (
                // Without its figures the server reads them anew from the card, at this share.
                <NumberField label="catalyst" unit="%" value={p.catalyst_pct} onChange={(catalyst_pct) => set(i, { catalyst_pct, figures: null })} />
              )}
              <NumberField label="mixed after the start" unit="h" value={p.start_h ?? 0} onChange={(start_h) => set(i, { start_h, ...(start_h < 0 && p.before_c == null ? { before_c: WARM_CORNER_C } : {}) })} hint="before it with a minus" />
              {(p.start_h ?? 0) < 0 && (
                <NumberField label="it stood at" unit={`°${units}`} value={degrees(p.before_c ?? WARM_CORNER_C, units)} onChange={(v) => set(i, { before_c: +celsius(v, units).toFixed(2) })} hint="from its mixing to the start" />
              )}
              <button type="button" class="plain" aria-label={`Take out ${p.name}`} onClick={() => keep(parts.filter((_, j) => j !== i))}>Take out</button>
            </div>
          </li>
        ))}
      </ul>
      {parts.length > 0 && (
        <div class="row">
          <NumberField label="the box holds" unit="m³" value={box.volume_m3} onChange={(volume_m3) => air({ volume_m3 })} hint="length × width × height inside" />
          <NumberField label="fresh air" unit="boxfuls/h" value={box.air_changes_per_h ?? 0} onChange={(air_changes_per_h) => air({ air_changes_per_h })} hint="0 if nothing moves it" />
          <NumberField label="of the styrene, evaporates in it" unit="%" value={box.evaporated_pct ?? 15} onChange={(evaporated_pct) => air({ evaporated_pct })} hint="about 15 laid up in the box; less the longer it airs outside" />
        </div>
      )}
      {parts.length === 0 && <p class="quiet">Name the resin of a part, and the night tells when it has gelled and may leave its mould.</p>}
      {parts.length < 8 && cards.length > 0 && (
        <label class="field">
          Add a part laid up with
          <select
            value=""
            onChange={(e) => {
              const card = cards.find((c) => c.name === e.currentTarget.value);
              e.currentTarget.value = "";
              if (card) add(card);
            }}
          >
            <option value="">choose its resin …</option>
            {cards.map((c) => <option key={c.name} value={c.name}>{c.title}</option>)}
          </select>
        </label>
      )}
    </section>
  );
}
