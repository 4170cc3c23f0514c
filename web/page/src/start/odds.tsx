// Will it do tonight? Asked with the shed's night and the deadline; the answer comes first.
import { useState } from "preact/hooks";
import { post } from "../api";
import { NumberField, TimeField } from "../fields";
import { useKept } from "../kept";
import { Asked } from "../sheet";
import type { Advised, Live, MilestoneName, Plan, Profile } from "../types";
import { celsius, day, degrees, hour, inUnits, MILESTONES, plain } from "../words";
import { Outlook } from "./outlook";

/** A small board takes half a minute, and gives up after two; for three profiles, after seven. */
const WAIT_MS = 130_000;
const ADVICE_MS = 430_000;
/** By so much a shed falls in a night, until a person says more, K. */
const USUAL_FALL_K = 7;

/** What is asked about, in the words of the API. */
interface Brief {
  goal: string;
  start: string;
  by: string;
  evening_c: number;
  lowest_c: number;
  lowest_at: string;
}

export interface Told {
  plan: Plan;
  start: string;
  /** The profile it was asked about. */
  about: string;
  /** When, by the oven's clock, s. */
  asked_s: number;
}

interface Props {
  profile: Profile;
  live: Live;
  /** The shed, or what is nearest to it, °C. */
  shed_c: number;
  /** Why this oven does not take the profile, sentences. */
  refused: string[];
  told: Told | null;
  onTold: (told: Omit<Told, "about">) => void;
  /** So much of a part's resin at once is taken instead, kg. */
  onWeigh: (part: string, resin_kg: number) => void;
  /** A profile that was searched for is taken. */
  onTake: (profile: Profile, told: Omit<Told, "about">) => void;
}

/** Odds in a word; every maker's resin is in them. */
export function chance({ probability: p }: Plan): string {
  return p >= 0.97 ? "very likely" : p >= 0.8 ? "likely" : p >= 0.5 ? "perhaps" : "hardly";
}

/** What it costs, where the price is known. */
const price = ({ cost, currency }: Plan): string => (cost ? ` (${cost.p50.toFixed(2)}${currency ? ` ${currency}` : ""})` : "");

export function Odds({ profile, live, shed_c, refused, told, onTold, onWeigh, onTake }: Props) {
  const u = live.units;
  const [asking, setAsking] = useState<"odds" | "advice" | null>(null);
  const [advice, setAdvice] = useKept<{ found: Advised[]; start: string } | null>("next.advice", null);
  const [evening_c] = useState(Math.round(shed_c));
  const [typed, setTyped] = useKept<Partial<Brief>>("next.night", {});
  const night: Brief = {
    goal: "demould",
    start: "",
    by: "08:00",
    evening_c,
    lowest_c: evening_c - USUAL_FALL_K,
    lowest_at: "06:00",
    ...typed,
  };
  // Until a person says when, it starts now.
  const start = night.start || new Date(live.wall_s * 1000).toTimeString().slice(0, 5);
  const set = (what: Partial<Brief>): void => setTyped((before) => ({ ...before, ...what }));
  const shed = (label: string, key: "evening_c" | "lowest_c") => (
    <NumberField label={label} unit={`°${u}`} range={[degrees(-60, u), degrees(60, u)]} value={degrees(night[key], u)} onChange={(v) => set({ [key]: +celsius(v, u).toFixed(2) })} />
  );
  return (
    <section class="odds" aria-labelledby="odds-title">
      <h2 id="odds-title">Will it do tonight?</h2>
      {!profile.parts?.length ? (
        <p class="quiet">With a part's resin named, it can be worked out.</p>
      ) : refused.length > 0 ? (
        <p class="quiet">It is worked out once the oven takes the profile.</p>
      ) : (
        <div class="row">
          <button class="plain" onClick={() => setAsking("odds")}>Work it out …</button>
          <button class="plain" onClick={() => setAsking("advice")}>Three to choose from …</button>
        </div>
      )}
      {advice && !advice.found.some((a) => a.sure) && <p class="quiet">None reaches it in 97 of 100 nights without a trip; this is the likeliest.</p>}
      {advice && (
        <ul class="advice">
          {(advice.found.some((a) => a.sure) ? advice.found : advice.found.slice(0, 1)).map((a) => (
            <li key={a.kind}>
              <p>
                <b>{a.sure ? a.kind[0]!.toUpperCase() + a.kind.slice(1) : "The likeliest"}</b>: {inUnits(a.course, u)}. In{" "}
                {Math.round(100 * a.plan.probability)} of 100 nights
                {a.plan.probability_if_slow_maker !== null && `, in ${Math.round(100 * a.plan.probability_if_slow_maker)} if your resin is slow`}; {a.plan.energy_kwh.p50.toFixed(2)} kWh{price(a.plan)}.
              </p>
              <button class="plain" aria-label={`Take it, ${a.kind}`} onClick={() => onTake(a.profile, { plan: a.plan, start: advice.start, asked_s: live.wall_s })}>Take it</button>
            </li>
          ))}
        </ul>
      )}
      <p class="answer" aria-live="polite">{told && inUnits(told.plan.answer, u)}</p>
      {told?.plan.too_much_at_once && (
        <div class="row">
          {told.plan.too_much_at_once.parts.map((name, i) => {
            const kg = told.plan.too_much_at_once!.would_do_kg[i]!;
            return <button key={name} class="plain" aria-label={`Take ${plain(kg, 2)} kg for ${name}`} onClick={() => onWeigh(name, kg)}>Take {plain(kg, 2)} kg for {name}</button>;
          })}
        </div>
      )}
      {told && <p class="quiet small">Worked out {day(told.asked_s)}, {hour(told.asked_s)}.</p>}
      {told && <Outlook plan={told.plan} start={told.start} live={live} />}
      {asking && (
        <Asked
          title={asking === "odds" ? "Will it do tonight?" : "Least stress, least energy, earliest"}
          yes={asking === "odds" ? "Work it out" : "Look for them"}
          busyWord="The nights pass …"
          what={async () => {
            if (asking === "advice") {
              const { advice: found } = await post<{ advice: Advised[] }>("plan/advice", { ...night, nights: 100, start, profile }, ADVICE_MS);
              setAdvice({ found, start });
              return;
            }
            const plan = await post<Plan>("plan", { ...night, start, profile }, WAIT_MS);
            onTold({ plan, start, asked_s: live.wall_s });
          }}
          onClose={() => setAsking(null)}
        >
          <label class="field">
            The parts should be
            <select value={night.goal} onChange={(e) => set({ goal: e.currentTarget.value })}>
              {(Object.keys(MILESTONES) as MilestoneName[])
                .filter((name) => name !== "laminate-closes")
                .map((name) => <option key={name} value={name}>{name === "demould" ? MILESTONES[name].short : MILESTONES[name].long}</option>)}
            </select>
          </label>
          <div class="row">
            <TimeField label="by" value={night.by} onChange={(by) => set({ by })} />
            <TimeField label="started at" value={start} onChange={(at) => set({ start: at })} />
          </div>
          <div class="row">
            {shed("shed at the start", "evening_c")}
            {shed("its lowest", "lowest_c")}
            <TimeField label="lowest at" value={night.lowest_at} onChange={(lowest_at) => set({ lowest_at })} />
          </div>
          <p class="quiet small">
            Hundreds of nights are tried, each a little other in oven, shed and resin. It takes{" "}
            {asking === "odds" ? "some seconds, half a minute on a small board" : "half a minute, some minutes on a small board"};
            a night that runs is not disturbed.
          </p>
        </Asked>
      )}
    </section>
  );
}
