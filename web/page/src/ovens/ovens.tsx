// All ovens: a card each, those that need somebody first. Its own page has its own Stop and login.
import { useEffect, useState } from "preact/hooks";
import { get, sentenceOf } from "../api";
import { Refusal } from "../sheet";
import type { Units } from "../types";
import type { OvenCard, Ovens as Told } from "./types";
import { age, hour, inUnits, temperature } from "../words";

const AGAIN_MS = 5000;
/** Older than this is no word of now, s. */
const OLD_S = 20;

export function Ovens({ units }: { units: Units }) {
  const [told, setTold] = useState<Told | null>(null);
  const [failed, setFailed] = useState("");
  useEffect(() => {
    const look = (): void =>
      void get<Told>("ovens").then(
        (all) => {
          setTold(all);
          setFailed("");
        },
        (error: unknown) => setFailed(sentenceOf(error)),
      );
    look();
    const timer = window.setInterval(look, AGAIN_MS);
    return () => window.clearInterval(timer);
  }, []);
  return (
    <section class="full stack" aria-labelledby="ovens-title">
      <h2 id="ovens-title" class="large-title">All ovens</h2>
      <Refusal>{failed}</Refusal>
      <ul class="oven-cards">
        {told?.ovens.map((o) => <li key={o.address}><Card oven={o} units={units} /></li>)}
      </ul>
    </section>
  );
}

function Card({ oven: o, units }: { oven: OvenCard; units: Units }) {
  const old = o.age_s === null || o.age_s > OLD_S;
  return (
    <a class={o.tripped ? "card trip" : o.alarm ? "card warned" : "card"} href={o.found === "here" ? "#now" : o.address}>
      <b>{o.name}</b>
      <span>{inUnits(o.line, units)}</span>
      {o.alarm && <span class="refusal">{inUnits(o.alarm, units)}</span>}
      {o.milestone && o.milestone_s !== null && !old && <span>{o.milestone} at {hour(o.milestone_s)}</span>}
      <small class={old ? "refusal" : "quiet"}>
        {o.air_c !== null && !old && `${temperature(o.air_c, units)} °${units}${o.setpoint_c === null ? "" : `, set ${temperature(o.setpoint_c, units)}`}. `}
        {o.age_s === null ? "It has said nothing yet." : `Its word is ${age(o.age_s)} old.`}
        {o.found === "here" && " This one."}
      </small>
    </a>
  );
}
