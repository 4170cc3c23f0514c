// Gel cups: some of tonight's resin in a cup; when it gels dates the parts of its batch.
import { useEffect, useState } from "preact/hooks";
import { get, post } from "../api";
import { Choice, NumberField } from "../fields";
import { Asked, Refusal, useAsk } from "../sheet";
import type { CardOffer, GelCup, Live } from "../types";
import { celsius, degrees, duration, inUnits, plain } from "../words";

const HELD = [["cup", "in a cup"], ["film", "a film, 3 mm at most"], ["probe", "a probe in the cup"]] as const;

/** Those that stand, and a button for another; nothing where the oven knows none. */
export function GelCups({ live, stale }: { live: Live; stale: boolean }) {
  const [mixing, setMixing] = useState(false);
  const [said, setSaid] = useState("");
  const cups = live.cups;
  if (cups === undefined) return null;
  return (
    <section class="cups stack" aria-labelledby="cups-title">
      <h2 id="cups-title">Gel cup</h2>
      {cups.map((c) => <Cup key={c.batch} cup={c} stale={stale} live={live} />)}
      {said && <p role="status">{inUnits(said, live.units)}</p>}
      <button class="plain" disabled={stale} onClick={() => setMixing(true)}>A cup is mixed …</button>
      {mixing && <Mix live={live} onSaid={setSaid} onClose={() => setMixing(false)} />}
    </section>
  );
}

function Cup({ cup, live, stale }: { cup: GelCup; live: Live; stale: boolean }) {
  const [busy, refusal, ask] = useAsk();
  const [asking, setAsking] = useState<"gelled" | "drop" | null>(null);
  const gelled = cup.gelled_after_s !== null;
  const look = async (what: "gelled" | "liquid" | "drop"): Promise<void> => void (await post("commands/cup/seen", { batch: cup.batch, what }));
  return (
    <div class="stack">
      <p>
        <b>{cup.batch}</b>, {plain(cup.grams, 0)} g: {gelled ? `gelled ${duration(cup.gelled_after_s!)} after mixing` : `mixed ${duration(cup.after_s)} ago, not yet seen gelled`}.
        {cup.gel_factor && ` It gels in ${plain(cup.gel_factor[1], 2)} of its card's time (${plain(cup.gel_factor[0], 2)} to ${plain(cup.gel_factor[2], 2)}). It dates the gel; of the demould it says little.`}
      </p>
      <Refusal>{refusal}</Refusal>
      <div class="row">
        {!gelled && <button class="main" disabled={stale} onClick={() => setAsking("gelled")}>It has gelled …</button>}
        {!gelled && <button class="plain" disabled={stale || busy} onClick={() => ask(() => look("liquid"))}>Still liquid</button>}
        <button class="plain" disabled={stale} onClick={() => setAsking("drop")}>Forget it …</button>
      </div>
      {asking && (
        <Asked
          title={asking === "gelled" ? "The cup has gelled?" : "Forget this cup?"}
          yes={asking === "gelled" ? "It has gelled" : "Forget it"}
          what={() => look(asking)}
          onClose={() => setAsking(null)}
        >
          <p>{asking === "gelled" ? `${cup.batch}: it no longer runs together when pricked. From now the parts of this batch are dated by it.` : `${cup.batch}: what it showed no longer counts. At ${inUnits("20 °C", live.units)} or so another one is soon mixed.`}</p>
        </Asked>
      )}
    </div>
  );
}

function Mix({ live, onSaid, onClose }: { live: Live; onSaid: (sentence: string) => void; onClose: () => void }) {
  const u = live.units;
  const part = live.profile?.parts?.[0];
  const [cards, setCards] = useState<CardOffer[]>([]);
  const [name, setName] = useState(part?.card ?? "polyester-laminating");
  const [batch, setBatch] = useState(part?.batch ?? "");
  const [pct, setPct] = useState(part?.catalyst_pct ?? 2);
  const [grams, setGrams] = useState(50);
  const [held, setHeld] = useState<"cup" | "film" | "probe">("cup");
  const [sensor, setSensor] = useState("");
  const [stands_c, setStands] = useState(20);
  const [minutes_ago, setAgo] = useState(0);
  useEffect(() => void get<CardOffer[]>("cards").then((all) => setCards(all.filter((c) => !c.own)), () => undefined), []);
  const card = cards.find((c) => c.name === name);
  const fixed = card !== undefined && card.least_pct === null;
  return (
    <Asked
      title="A gel cup"
      yes="Mixed now"
      what={async () => {
        const body = { card: name, batch: batch.trim() || null, catalyst_pct: fixed ? null : pct, grams, held, minutes_ago, ...(sensor ? { sensor } : { stands_c }) };
        onSaid((await post<{ message: string }>("commands/cup", body)).message);
      }}
      onClose={onClose}
    >
      <label class="field">
        Resin
        <select value={name} onChange={(e) => setName(e.currentTarget.value)}>
          {cards.map((c) => <option key={c.name} value={c.name}>{c.title}</option>)}
        </select>
      </label>
      <label class="field">
        Resin batch
        <input type="text" maxLength={60} autocomplete="off" value={batch} placeholder={name} onInput={(e) => setBatch(e.currentTarget.value)} />
      </label>
      <div class="row">
        {!fixed && <NumberField label="catalyst, as weighed" unit="%" range={[card?.least_pct ?? 0.1, card?.most_pct ?? 5]} value={pct} onChange={setPct} />}
        <NumberField label="in the cup" unit="g" range={[2, 1000]} value={grams} onChange={setGrams} />
        <NumberField label="mixed before now" unit="min" range={[0, 240]} value={minutes_ago} onChange={setAgo} />
      </div>
      <Choice legend="It is" value={held} options={HELD} onChange={setHeld} />
      <label class="field">
        Beside
        <select value={sensor} onChange={(e) => setSensor(e.currentTarget.value)}>
          <option value="">no thermometer</option>
          {live.thermometers.map((t) => <option key={t.id} value={t.name}>{t.name}</option>)}
        </select>
      </label>
      {!sensor && <NumberField label="it stands at" unit={`°${u}`} range={[degrees(-10, u), degrees(60, u)]} value={degrees(stands_c, u)} onChange={(v) => setStands(+celsius(v, u).toFixed(2))} />}
    </Asked>
  );
}
