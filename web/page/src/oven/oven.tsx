// The oven itself: its settings and thermometers in words, who may steer, and this phone's choices.
import { useEffect, useState } from "preact/hooks";
import { get, sentenceOf } from "../api";
import { Choice } from "../fields";
import { later } from "../later";
import { LearnedLoss, useLearned } from "../nights/learned";
import { choose, usePrefs } from "../prefs";
import { Refusal } from "../sheet";
import type { Live, OvenSettings } from "../types";
import { inUnits } from "../words";
import { About } from "./about";
import { AccessCard } from "./access";
import { AskedFor } from "./asked-for";
import { Ovens } from "../ovens/ovens";
import { Message, Messages } from "./messages";
import { Survey } from "./survey";
import { Thermometers } from "./thermometers";

const Ruler = later(() => import("../ruler/ruler").then((m) => m.Ruler));
const Cards = later(() => import("../cards/cards").then((m) => m.Cards));

export function Oven({ live, at }: { live: Live; at: string }) {
  if (at === "ruler") return <Ruler live={live} />;
  if (at === "cards") return <Cards live={live} />;
  if (at === "all") return <Ovens units={live.units} />;
  if (at.startsWith("message-")) return <Message id={Number(at.slice(8))} live={live} />;
  return <OvenItself live={live} />;
}

function OvenItself({ live }: { live: Live }) {
  const [settings, setSettings] = useState<OvenSettings | null>(null);
  const [failed, setFailed] = useState("");
  const load = (): void => {
    get<OvenSettings>("settings").then(setSettings, (error: unknown) => setFailed(sentenceOf(error)));
  };
  useEffect(load, []);
  const learned = useLearned(live.night_id);
  return (
    <>
      <div class={settings ? "column wide" : "column wide awaited"}>
        <Refusal>{failed}</Refusal>
        {settings && (
          <section class="stack" aria-labelledby="meaning-title">
            <h2 id="meaning-title">What it can do</h2>
            <p>{inUnits(settings.meaning.join(" "), live.units)}</p>
            <LearnedLoss learned={learned} units={live.units} />
            <div class="row">
              <a class="button" href="#oven/ruler">A box by its ruler</a>
              <a class="button" href="#oven/cards">Resin cards</a>
            </div>
          </section>
        )}
        <Survey units={live.units} resting={live.phase === "idle" || live.phase === "done"} />
        {settings && <Thermometers settings={settings} live={live} onChecked={load} />}
        {settings && settings.consequences.length > 0 && (
          <section aria-labelledby="consequences-title">
            <h2 id="consequences-title">Safety of box and place</h2>
            <ul class="stack">
              {settings.consequences.map((c) => (
                <li key={c.sentence} class={c.rating === "wrong" ? "refusal" : c.rating === "ok" ? "quiet" : ""}>
                  {inUnits(c.sentence, live.units)}
                </li>
              ))}
            </ul>
          </section>
        )}
        {settings && <h2>Settings</h2>}
        {settings?.groups.map((g) => (
          <details key={g.title} class="fold">
            <summary>{g.title}</summary>
            <dl class="settings">
              {g.rows.map((r) => (
                <div key={r.name}>
                  <dt>{inUnits(r.name, live.units)}</dt>
                  <dd>{shown(r.value, r.unit, live)}</dd>
                  {r.explains && <dd class="quiet small">{inUnits(r.explains, live.units)}</dd>}
                </div>
              ))}
            </dl>
          </details>
        ))}
        {settings && <p class="quiet small">Settings are changed in oven.toml on the oven's machine, never from here.</p>}
        <AskedFor />
      </div>
      <div class="column">
        <AccessCard />
        <Messages />
        <ThisPhone live={live} />
        <About />
      </div>
    </>
  );
}

function shown(value: string | number | boolean | null, unit: string, live: Live): string {
  if (value === null) return "none";
  if (typeof value === "boolean") return value ? "yes" : "no";
  return inUnits(`${value}${unit && ` ${unit}`}`, live.units);
}

function ThisPhone({ live }: { live: Live }) {
  const { units, look } = usePrefs();
  return (
    <section class="phone" aria-labelledby="phone-title">
      <h2 id="phone-title">On this phone</h2>
      <div class="stack">
        <Choice
          legend="Temperatures"
          value={units === "oven" ? live.units : units}
          options={[["C", "°C"], ["F", "°F"]]}
          onChange={(value) => choose({ units: value })}
        />
        <Choice
          legend="Look"
          value={look}
          options={[["auto", "as the phone"], ["dark", "dark"], ["light", "light"]]}
          onChange={(value) => choose({ look: value })}
        />
      </div>
    </section>
  );
}
