// A box by its ruler, before there is one: what it loses, which heater, and what one heat would do.
import { useEffect, useState } from "preact/hooks";
import { get, post } from "../api";
import { Choice, firstWrong, NumberField, Tick } from "../fields";
import { useKept } from "../kept";
import { Asked } from "../sheet";
import type { CardOffer, Live, Ruled } from "../types";
import { celsius, degrees, inUnits, plain, steps } from "../words";
import { BoxSketch } from "./box-sketch";

const WAIT_MS = 100_000;
const MOST_PANELS = 24;

type Shape = "cuboid" | "tube" | "panels";
type Board = "pir" | "xps" | "eps" | "plywood";

interface Sizes {
  shape: Shape;
  inside_m: number[];
  tube_m: number[];
  length_m: number;
  panels: { name: string; area_m2: number }[];
  volume_m3: number;
  board_mm: number;
  material: Board;
  taped: boolean;
  fan: boolean;
  moulds_kg: number[];
  power_w: number;
  ambient_c: number;
  warmest_c: number;
  hold_c: number;
  heat_to_c: number;
  card: string;
  catalyst_pct: number;
  before_h: number;
}

const FIRST: Sizes = {
  shape: "cuboid",
  inside_m: [1.2, 0.6, 0.6],
  tube_m: [0.8, 0.8, 0.8],
  length_m: 1.5,
  panels: [{ name: "floor", area_m2: 1 }, { name: "lid", area_m2: 1 }, { name: "sides", area_m2: 3 }],
  volume_m3: 0.6,
  board_mm: 25,
  material: "pir",
  taped: false,
  fan: true,
  moulds_kg: [9],
  power_w: 300,
  ambient_c: 5,
  warmest_c: 30,
  hold_c: 38,
  heat_to_c: 45,
  card: "",
  catalyst_pct: 2,
  before_h: 2,
};
const SHAPES = [["cuboid", "a box"], ["tube", "a tube of panels"], ["panels", "any other, by its panels"]] as const;
const BOARDS = [["pir", "PIR foam"], ["xps", "XPS foam"], ["eps", "EPS foam"], ["plywood", "plywood"]] as const;

export function Ruler({ live }: { live: Live }) {
  const u = live.units;
  const [s, setSizes] = useKept<Sizes>("ruler.sizes", FIRST);
  const [ruled, setRuled] = useKept<Ruled | null>("ruler.answer", null);
  const [cards, setCards] = useState<CardOffer[]>([]);
  const [asking, setAsking] = useState(false);
  useEffect(() => void get<CardOffer[]>("cards").then(setCards, () => undefined), []);
  const set = (what: Partial<Sizes>): void => {
    setSizes({ ...s, ...what });
    setRuled(null); // an answer to other sizes
  };
  const card = cards.find((c) => c.name === s.card);
  const length = (label: string, value: number, put: (m: number) => void) => (
    <NumberField label={label} unit="m" range={[0.05, 30]} value={value} onChange={put} />
  );
  const warmth = (label: string, key: "ambient_c" | "warmest_c" | "hold_c" | "heat_to_c", range: readonly [number, number]) => (
    <NumberField label={label} unit={`°${u}`} range={[degrees(range[0], u), degrees(range[1], u)]} value={degrees(s[key], u)} onChange={(v) => set({ [key]: +celsius(v, u).toFixed(2) })} />
  );
  const replaced = <T,>(list: T[], i: number, value: T): T[] => list.map((x, j) => (j === i ? value : x));
  const work = async (): Promise<void> => {
    const { shape } = s;
    setRuled(
      await post<Ruled>(
        "ruler",
        {
          inside_m: shape === "cuboid" ? s.inside_m : null,
          tube_m: shape === "tube" ? s.tube_m : null,
          length_m: shape === "tube" ? s.length_m : null,
          panels: shape === "panels" ? s.panels : null,
          volume_m3: shape === "panels" ? s.volume_m3 : null,
          boards: [{ thickness_mm: s.board_mm, material: s.material }],
          taped: s.taped,
          fan: s.fan,
          moulds: s.moulds_kg.map((mass_kg, i) => ({ name: `mould ${i + 1}`, mass_kg })),
          power_w: s.power_w,
          ambient_c: s.ambient_c,
          warmest_c: s.warmest_c,
          hold_c: s.hold_c,
          heat_to_c: s.heat_to_c,
          card: card ? card.name : null,
          catalyst_pct: card && card.least_pct !== null ? s.catalyst_pct : null,
          before_h: s.before_h,
        },
        WAIT_MS,
      ),
    );
  };
  return (
    <>
      <form
        class="column ruler"
        onSubmit={(e) => {
          e.preventDefault();
          if (!firstWrong(e.currentTarget)) setAsking(true);
        }}
      >
        <section class="stack" aria-labelledby="ruler-title">
          <p><a href="#oven">The oven</a></p>
          <h2 id="ruler-title" class="large-title">A box by its ruler</h2>
          <p class="quiet">What a box would lose and hold, before it is built. All sizes are inside.</p>
          <Choice legend="It is" value={s.shape} options={SHAPES} onChange={(shape) => set({ shape })} />
          {s.shape === "cuboid" && (
            <div class="row">
              {["length", "width", "height"].map((name, i) => length(name, s.inside_m[i]!, (m) => set({ inside_m: replaced(s.inside_m, i, m) })))}
            </div>
          )}
          {s.shape === "tube" && (
            <>
              <div class="row">
                {s.tube_m.map((m, i) => length(`panel ${i + 1}, width`, m, (v) => set({ tube_m: replaced(s.tube_m, i, v) })))}
                {length("length of the tube", s.length_m, (length_m) => set({ length_m }))}
              </div>
              <div class="row">
                <button type="button" class="plain" disabled={s.tube_m.length >= MOST_PANELS} onClick={() => set({ tube_m: [...s.tube_m, s.tube_m[s.tube_m.length - 1]!] })}>One panel more</button>
                <button type="button" class="plain" disabled={s.tube_m.length <= 3} onClick={() => set({ tube_m: s.tube_m.slice(0, -1) })}>One fewer</button>
              </div>
            </>
          )}
          {s.shape === "panels" && (
            <>
              {s.panels.map((p, i) => (
                <div class="row" key={i}>
                  <label class="field grow">
                    panel {i + 1}
                    <input type="text" maxLength={40} autocomplete="off" value={p.name} aria-invalid={p.name.trim() === ""} onInput={(e) => set({ panels: replaced(s.panels, i, { ...p, name: e.currentTarget.value }) })} />
                    {p.name.trim() === "" && <small class="refusal">Give the panel a name, such as floor.</small>}
                  </label>
                  <NumberField label="area" about={p.name} unit="m²" range={[0.01, 500]} value={p.area_m2} onChange={(area_m2) => set({ panels: replaced(s.panels, i, { ...p, area_m2 }) })} />
                  <button type="button" class="small" aria-label={`Take out ${p.name}`} disabled={s.panels.length === 1} onClick={() => set({ panels: s.panels.filter((_, j) => j !== i) })}>Take out</button>
                </div>
              ))}
              <button type="button" class="plain" disabled={s.panels.length >= MOST_PANELS} onClick={() => set({ panels: [...s.panels, { name: `panel ${s.panels.length + 1}`, area_m2: 1 }] })}>One panel more</button>
              <NumberField label="the room inside" unit="m³" range={[0.01, 1000]} value={s.volume_m3} onChange={(volume_m3) => set({ volume_m3 })} />
            </>
          )}
        </section>
        <section class="stack" aria-labelledby="board-title">
          <h2 id="board-title">Board and joints</h2>
          <div class="row">
            <NumberField label="thickness of the board" unit="mm" range={[1, 500]} value={s.board_mm} onChange={(board_mm) => set({ board_mm })} />
            <label class="number">
              made of
              <select value={s.material} onChange={(e) => set({ material: e.currentTarget.value as Board })}>
                {BOARDS.map(([name, word]) => <option key={name} value={name}>{word}</option>)}
              </select>
            </label>
          </div>
          {(s.material === "xps" || s.material === "eps") && (
            <p class="refusal">Polystyrene is not for an oven: styrene dissolves it, and it gives way at {degrees(75, u)} °{u}. Take PIR with foil.</p>
          )}
          <Tick checked={s.taped} onChange={(taped) => set({ taped })}>Its joints are taped.</Tick>
          <Tick checked={s.fan} onChange={(fan) => set({ fan })}>A small fan stirs the air.</Tick>
        </section>
        <section class="stack" aria-labelledby="moulds-title">
          <h2 id="moulds-title">What lies in it</h2>
          <div class="row">
            {s.moulds_kg.map((kg, i) => (
              <NumberField key={i} label={`mould ${i + 1} with its part`} unit="kg" range={[0.1, 5000]} value={kg} onChange={(v) => set({ moulds_kg: replaced(s.moulds_kg, i, v) })} />
            ))}
          </div>
          <div class="row">
            <button type="button" class="plain" disabled={s.moulds_kg.length >= 12} onClick={() => set({ moulds_kg: [...s.moulds_kg, 6] })}>One mould more</button>
            <button type="button" class="plain" disabled={s.moulds_kg.length === 0} onClick={() => set({ moulds_kg: s.moulds_kg.slice(0, -1) })}>One fewer</button>
          </div>
          <div class="row">
            <label class="field grow">
              its resin
              <select value={card ? s.card : ""} onChange={(e) => set({ card: e.currentTarget.value })}>
                <option value="">none named</option>
                {cards.map((c) => <option key={c.name} value={c.name}>{c.title}</option>)}
              </select>
            </label>
            {card && card.least_pct !== null && (
              <NumberField label="catalyst" unit="%" range={[card.least_pct, card.most_pct ?? 5]} value={s.catalyst_pct} onChange={(catalyst_pct) => set({ catalyst_pct })} />
            )}
            {card && <NumberField label="mixed before the box is shut" unit="h" range={[0, 72]} value={s.before_h} onChange={(before_h) => set({ before_h })} />}
          </div>
        </section>
        <section class="stack" aria-labelledby="warm-title">
          <h2 id="warm-title">Heater and shed</h2>
          <div class="row">
            <NumberField label="the heater" unit="W" range={[1, 6000]} value={s.power_w} onChange={(power_w) => set({ power_w })} />
            {warmth("the shed on a cold night", "ambient_c", [-45, 40])}
            {warmth("on the warmest day", "warmest_c", [-20, 60])}
          </div>
          <div class="row">
            {warmth("one heat goes to", "heat_to_c", [10, 80])}
            {warmth("a regulated night holds", "hold_c", [10, 80])}
          </div>
        </section>
        <button class="main">Work it out …</button>
      </form>
      <div class="column wide" aria-live="polite">
        {ruled && <Answer ruled={ruled} live={live} />}
      </div>
      {asking && (
        <Asked title="Work it out?" yes="Work it out" busyWord="It is reckoned …" what={work} onClose={() => setAsking(false)}>
          <p>It takes a second, half a minute on a small board. Nothing is changed by it.</p>
        </Asked>
      )}
    </>
  );
}

function Answer({ ruled, live }: { ruled: Ruled; live: Live }) {
  const u = live.units;
  const loss = (w_per_k: number): string => inUnits(`${plain(w_per_k, 2)} W/K`, u);
  const above = (k: number): string => `${Math.round(steps(k, u))} ${u === "F" ? "°F" : "K"}`;
  return (
    <>
      <section class="stack" aria-labelledby="understood-title">
        <h2 id="understood-title">As it was understood</h2>
        <BoxSketch ruled={ruled} />
        <p class="quiet small">{plain(ruled.area_m2, 2)} m² of panels round {plain(ruled.volume_m3, 2)} m³.</p>
      </section>
      <section class="stack" aria-labelledby="loses-title">
        <h2 id="loses-title">What it loses and holds</h2>
        <p>{inUnits(ruled.meaning.join(" "), u)}</p>
        <p>
          It loses {loss(ruled.loss_w_per_k)}, {loss(ruled.leak_w_per_k)} of it by its joints. To hold the night's temperature takes {Math.round(ruled.hold_w)} W;{" "}
          {ruled.recommended_w === null ? "no single heater does it here." : `a heater of ${plain(ruled.recommended_w, 0)} W would do.`}
        </p>
        <p class="quiet small">Reckoned from sizes; a test of the oven measures it.</p>
      </section>
      <section class="stack" aria-labelledby="one-heat-title">
        <h2 id="one-heat-title">Tonight, without a controller</h2>
        {ruled.one_heat.sentences.map((said) => <p key={said}>{inUnits(said[0]!.toUpperCase() + said.slice(1), u)}</p>)}
      </section>
      <section class="stack" aria-labelledby="what-if-title">
        <h2 id="what-if-title">What changes would do</h2>
        <dl class="settings">
          {ruled.what_ifs.map((w) => (
            <div key={w.change}>
              <dt>{w.change}</dt>
              <dd>{above(w.rise_k)} above the shed</dd>
              <dd class="quiet small">It then loses {loss(w.loss_w_per_k)}.</dd>
            </div>
          ))}
        </dl>
      </section>
      <details class="fold">
        <summary>Heater, cut-out, mains</summary>
        <ul class="stack">{ruled.cautions.map((c) => <li key={c}>{inUnits(c, u)}</li>)}</ul>
      </details>
    </>
  );
}
