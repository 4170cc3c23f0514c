// The parts of the night: which resin, how much of it, how much catalyst, mixed when.
import { NumberField } from "../fields";
import type { CardOffer, Part, Thermometer } from "../types";
import { plain } from "../words";

const HARDENED_C = 20;
const MOST = 8;

interface Props {
  parts: Part[];
  cards: CardOffer[];
  thermometers: Thermometer[];
  /** Whether this oven keeps resin batches apart. */
  batches: boolean;
  onChange: (parts: Part[]) => void;
}

const share = (card: CardOffer, now: number): number | null =>
  card.least_pct === null ? null : Math.min(Math.max(now, card.least_pct), card.most_pct ?? now);

export function Parts({ parts, cards, thermometers, batches, onChange }: Props) {
  const places = thermometers.filter((t) => t.role === "part" || t.role === "mould");
  const set = (i: number, what: Partial<Part>): void => onChange(parts.map((p, j) => (j === i ? { ...p, ...what } : p)));
  const add = (): void => {
    const last = parts[parts.length - 1];
    const card = cards.find((c) => c.name === last?.card) ?? cards.find((c) => c.styrene && c.demould) ?? cards[0]!;
    const sensor = places.find((t) => !parts.some((p) => p.sensor === t.name))?.name ?? null;
    let name = sensor ?? "Part 1";
    for (let n = 1; parts.some((p) => p.name === name); n++) name = `Part ${n}`;
    onChange([...parts, { name, card: card.name, catalyst_pct: share(card, 2), resin_kg: 0.5, sensor, start_h: 0 }]);
  };
  return (
    <section class="night-parts" aria-labelledby="parts-title">
      <h2 id="parts-title">Parts tonight</h2>
      {parts.map((p, i) => {
        const card = cards.find((c) => c.name === p.card);
        const wrong = misnamed(parts, i);
        return (
          <details key={i} class="fold">
            <summary>
              <b>{p.name}</b>{" "}
              <span>{card?.title ?? p.card}, {plain(p.resin_kg, 2)} kg{p.catalyst_pct != null && `, ${plain(p.catalyst_pct)} % catalyst`}, {mixed(p)}</span>
            </summary>
            <div class="row">
              <label class="field grow">
                Called
                <input type="text" maxLength={40} autocomplete="off" value={p.name} aria-invalid={wrong !== ""} onInput={(e) => set(i, { name: e.currentTarget.value })} />
                {wrong && <small class="refusal">{wrong}</small>}
              </label>
              <label class="field grow">
                Resin
                <select
                  value={p.card}
                  onChange={(e) => {
                    const next = cards.find((c) => c.name === e.currentTarget.value);
                    if (next) set(i, { card: next.name, catalyst_pct: share(next, p.catalyst_pct ?? 2), figures: null });
                  }}
                >
                  {!card && <option value={p.card}>{p.card}</option>}
                  {cards.map((c) => <option key={c.name} value={c.name}>{c.title}</option>)}
                </select>
              </label>
            </div>
            <div class="row">
              <NumberField label="resin" about={p.name} unit="kg" range={[0.01, 100]} value={p.resin_kg} onChange={(resin_kg) => set(i, { resin_kg })} />
              {p.catalyst_pct != null && (
                // Without its figures the server reads them anew from the card, at this share.
                <NumberField label="catalyst" about={p.name} unit="%" range={[card?.least_pct ?? 0.1, card?.most_pct ?? 5]} value={p.catalyst_pct} onChange={(catalyst_pct) => set(i, { catalyst_pct, figures: null })} />
              )}
              <NumberField
                label="mixed before the start"
                about={p.name}
                unit="h"
                range={[-24, 72]}
                value={-(p.start_h ?? 0)}
                onChange={(h) => set(i, { start_h: -h, before_c: h > 0 ? (p.before_c ?? HARDENED_C) : null })}
              />
              <label class="number">
                <span><span class="sr">{p.name}, </span>measured by</span>
                <select value={p.sensor ?? ""} onChange={(e) => set(i, { sensor: e.currentTarget.value || null })}>
                  <option value="">the air</option>
                  {p.sensor && !places.some((t) => t.name === p.sensor) && <option value={p.sensor}>{p.sensor}</option>}
                  {places.map((t) => <option key={t.id} value={t.name}>{t.name}</option>)}
                </select>
              </label>
              {batches && (
                <label class="field">
                  <span><span class="sr">{p.name}, </span>batch</span>
                  <input type="text" maxLength={60} autocomplete="off" value={p.batch ?? ""} onInput={(e) => set(i, { batch: e.currentTarget.value || null })} />
                </label>
              )}
              <button type="button" class="plain" aria-label={`Take out ${p.name}`} onClick={() => onChange(parts.filter((_, j) => j !== i))}>Take out</button>
            </div>
          </details>
        );
      })}
      {parts.length === 0 && <p class="quiet">None: a trial without resin. With a part's resin named, the night says when it is hard.</p>}
      {parts.length < MOST && cards.length > 0 && <button type="button" class="plain" onClick={add}>Add a part</button>}
    </section>
  );
}

/** What is wrong with the name of a part; empty where nothing is. */
function misnamed(parts: Part[], i: number): string {
  const name = parts[i]!.name.trim();
  if (name === "") return "Give the part a name, such as Lid.";
  const before = parts.findIndex((p) => p.name.trim() === name);
  return before < i ? `Another part is called ${name}; give each a name of its own, such as ${name} ${i + 1}.` : "";
}

function mixed({ start_h = 0 }: Part): string {
  if (start_h === 0) return "mixed at the start";
  return `mixed ${plain(Math.abs(start_h))} h ${start_h < 0 ? "before" : "after"} the start`;
}
