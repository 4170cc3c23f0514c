// A card made from a data sheet: three steps, each checked where it is typed; then it is kept.
import { useEffect, useState } from "preact/hooks";
import { get, post, sentenceOf } from "../api";
import { read, refusal } from "../fields";
import { forget, useKept } from "../kept";
import { Asked, Refusal } from "../sheet";
import type { CardCheck, CardOffer, GelCup, Units } from "../types";
import { celsius, degrees, inUnits, plain } from "../words";
import { Cup } from "./cup";

interface Questions {
  questions: { key: string; question: string }[];
  fixed_ratio: boolean;
}
/** A row of the data sheet's gel times, as typed; °C whatever this phone reads. */
export interface GelRow {
  temp_c: string;
  pct: string;
  minutes: string;
}
interface Draft {
  like: string;
  answers: Record<string, string>;
  rows: GelRow[];
}

const FIRST: Draft = { like: "polyester-laminating", answers: {}, rows: [] };
const EMPTY: GelRow = { temp_c: "", pct: "", minutes: "" };
const STEPS = ["The resin", "Its gel times", "Its cure"] as const;
/** Which questions stand at the first step; the others at the last. */
const WHO = ["name", "title", "lowest_c", "highest_c", "monomer_pct", "density_kg_per_m3"];
const SETTLED_MS = 400;
/** What a row of gel times may say: °C, %, minutes; the card's own limits. */
const ROW = { temp_c: [-10, 250], pct: [0.1, 5], minutes: [0.1, 100_000] } as const;

/** What is typed in this phone's degrees, as text in °C; what is no number stays as it is. */
function toCelsius(text: string, u: Units): string {
  const number = read(text);
  return number === null || u === "C" ? text : String(+celsius(number, u).toFixed(3));
}
function fromCelsius(text: string, u: Units): string {
  const number = read(text);
  return number === null || u === "C" ? text : plain(degrees(number, u), 1);
}
/** Whether an answer is a temperature. */
const warm = (key: string): boolean => key.endsWith("_c");

export function NewCard({ cards, cups, units: u, onSaved }: { cards: CardOffer[]; cups: GelCup[]; units: Units; onSaved: () => Promise<void> }) {
  const [draft, setDraft] = useKept<Draft>("card.draft", FIRST);
  const [step, setStep] = useKept("card.step", 0);
  const [asked, setAsked] = useState<Questions | null>(null);
  const [check, setCheck] = useState<CardCheck | null>(null);
  const [failed, setFailed] = useState("");
  const [saving, setSaving] = useState(false);
  const [saved, setSaved] = useState("");
  useEffect(() => {
    get<Questions>(`cards/${encodeURIComponent(draft.like)}/questions`).then(setAsked, (error: unknown) => setFailed(sentenceOf(error)));
  }, [draft.like]);
  const fixed = asked?.fixed_ratio ?? false;
  const body = {
    like: draft.like,
    answers: Object.fromEntries(Object.entries(draft.answers).filter(([key]) => asked?.questions.some((q) => q.key === key))),
    gel_rows: draft.rows.map((r) => [r.temp_c, ...(fixed ? [] : [r.pct]), r.minutes].map((t) => t.trim().replace(",", ".") || "?").join(" ")),
  };
  const mark = JSON.stringify(body);
  useEffect(() => {
    if (asked === null) return;
    const timer = window.setTimeout(() => {
      post<CardCheck>("cards/check", body).then(setCheck, (error: unknown) => setFailed(sentenceOf(error)));
    }, SETTLED_MS);
    return () => window.clearTimeout(timer);
  }, [mark, asked]);
  if (asked === null) return <Refusal>{failed}</Refusal>;
  const answer = (key: string, text: string): void => setDraft({ ...draft, answers: { ...draft.answers, [key]: warm(key) ? toCelsius(text, u) : text } });
  const row = (i: number, what: Partial<GelRow>): void => setDraft({ ...draft, rows: draft.rows.map((r, j) => (j === i ? { ...r, ...what } : r)) });
  const fault = (key: string): string => inUnits(check?.faults[key] ?? "", u);
  const whole = (r: GelRow): boolean => [r.temp_c, r.minutes, fixed ? "-" : r.pct].every((t) => t.trim() !== "");
  const blank = (r: GelRow): boolean => `${r.temp_c}${r.pct}${r.minutes}`.trim() === "";
  const fields = asked.questions.filter((q) => (step === 0) === WHO.includes(q.key));
  const here = step === 1 ? Object.keys(check?.faults ?? {}).filter((k) => k.startsWith("gel/")) : fields.map((q) => q.key).filter((k) => check?.faults[k]);
  return (
    <section class="stack new-card" aria-labelledby="new-card-title">
      <h2 id="new-card-title">A card from your data sheet</h2>
      <Refusal>{failed}</Refusal>
      {saved && <p role="status">{saved}</p>}
      <p class="quiet">Step {step + 1} of {STEPS.length}: {STEPS[step]}. What you leave empty is the generic card's.</p>
      {step === 0 && (
        <label class="field">
          A resin of this kind
          <select value={draft.like} onChange={(e) => setDraft({ ...draft, like: e.currentTarget.value })}>
            {cards.map((c) => <option key={c.name} value={c.name}>{c.title}</option>)}
          </select>
        </label>
      )}
      {step !== 1 && (
        <div class="fields">
          {fields.map(({ key, question }) => (
            <Typed
              key={key}
              label={question.replace("°C", `°${u}`).replace("... ", "Demould ")}
              value={warm(key) ? fromCelsius(draft.answers[key] ?? "", u) : (draft.answers[key] ?? "")}
              fault={fault(key)}
              number={key !== "name" && key !== "title"}
              onInput={(text) => answer(key, text)}
            />
          ))}
        </div>
      )}
      {step === 1 && (
        <>
          {draft.rows.map((r, i) => (
            <fieldset class="gel-row" key={`${draft.rows.length}/${i}`}>
              <legend>Gel time {i + 1}</legend>
              <div class="row">
                <Typed label={`at, °${u}`} value={fromCelsius(r.temp_c, u)} number fault={untold(fromCelsius(r.temp_c, u), [degrees(ROW.temp_c[0], u), degrees(ROW.temp_c[1], u)], `°${u}`)} onInput={(t) => row(i, { temp_c: toCelsius(t, u) })} />
                {!fixed && <Typed label="catalyst, %" value={r.pct} number fault={untold(r.pct, ROW.pct, "%")} onInput={(pct) => row(i, { pct })} />}
                <Typed label="gels after, minutes" value={r.minutes} number fault={untold(r.minutes, ROW.minutes, "min")} onInput={(minutes) => row(i, { minutes })} />
                <button type="button" class="small" aria-label={`Take out gel time ${i + 1}`} onClick={() => setDraft({ ...draft, rows: draft.rows.filter((_, j) => j !== i) })}>Take out</button>
              </div>
              {!whole(r) && <p class={blank(r) ? "quiet small" : "refusal"}>All of it is needed: temperature, {fixed ? "" : "catalyst, "}minutes.</p>}
            </fieldset>
          ))}
          <div class="row">
            <button type="button" class="plain" onClick={() => setDraft({ ...draft, rows: [...draft.rows, EMPTY] })}>A row of the data sheet</button>
          </div>
          {cups.filter((c) => c.gel_row).map(({ batch, gel_row }) => (
            <button key={batch} type="button" class="plain" onClick={() => setDraft({ ...draft, rows: [...draft.rows, { temp_c: String(gel_row![0]), pct: "", minutes: String(gel_row![1]) }] })}>
              The row of {batch}'s cup: {plain(gel_row![1])} min at {plain(degrees(gel_row![0], u))} °{u}
            </button>
          ))}
          <Cup fixed={fixed} units={u} onRow={(r) => setDraft({ ...draft, rows: [...draft.rows, r] })} />
        </>
      )}
      {step === 2 && check?.faults.card && <Refusal>{inUnits(check.faults.card, u)}</Refusal>}
      {step === 2 && check?.card && (
        <>
          <p>The card can be true{check.unanswered.length > 0 ? ". What it cannot say:" : "."}</p>
          <ul>{check.unanswered.map((sentence) => <li key={sentence} class="quiet small">{inUnits(sentence, u)}</li>)}</ul>
        </>
      )}
      <div class="row">
        {step > 0 && <button type="button" class="plain" onClick={() => setStep(step - 1)}>Back</button>}
        {step < STEPS.length - 1 && <button type="button" class="main" disabled={here.length > 0} onClick={() => setStep(step + 1)}>Next: {STEPS[step + 1]!.toLowerCase()}</button>}
        {step === STEPS.length - 1 && <button type="button" class="main" disabled={!check?.card} onClick={() => setSaving(true)}>Keep this card …</button>}
      </div>
      {step === 2 && check && !check.card && !check.faults.card && <p class="refusal">An earlier step has something that cannot be; go back to it.</p>}
      {saving && (
        <Asked
          title="Keep this card?"
          yes="Keep it"
          what={async () => {
            const kept = await post<CardOffer>("cards", body);
            forget("card.");
            setDraft(FIRST);
            setStep(0);
            setSaved(`'${kept.title}' is kept; parts can be laid up with it now.`);
            await onSaved();
          }}
          onClose={() => setSaving(false)}
        >
          <p>'{check?.card?.title}' then stands among the resins of a part.</p>
        </Asked>
      )}
    </section>
  );
}

/** Why what is typed cannot be; nothing of a field that is still empty. */
const untold = (text: string, range: readonly [number, number], unit: string): string => (text.trim() === "" ? "" : refusal(text, range, unit));

interface TypedProps {
  label: string;
  value: string;
  fault: string;
  number: boolean;
  onInput: (text: string) => void;
}

/** A line to type in, that keeps the person's own text; its fault stands below it. */
function Typed({ label, value, fault, number, onInput }: TypedProps) {
  const [text, setText] = useState(value);
  return (
    <label class="field">
      {label}
      <input
        type="text"
        autocomplete="off"
        maxLength={80}
        inputMode={number ? "decimal" : "text"}
        value={text}
        aria-invalid={fault !== ""}
        onInput={(e) => {
          setText(e.currentTarget.value);
          onInput(e.currentTarget.value);
        }}
      />
      {fault && <small class="refusal">{fault}</small>}
    </label>
  );
}
