// The page: which screen, who is silent, and Stop, which is always there.
import { render } from "preact";
import { useEffect, useState } from "preact/hooks";
import { get } from "./api";
import { useLive, type Word } from "./live";
import { Announcer } from "./now/announce";
import { Now } from "./now/now";
import { StopSheet } from "./now/stop";
import { later } from "./later";
import { usePrefs } from "./prefs";
import { SCREENS, useRoute, type Screen } from "./route";
import type { Ovens } from "./ovens/types";
import type { Live } from "./types";
import { LogIn } from "./sheet";
import "./tied";
import { age, hour, PHASES, temperature } from "./words";

const Start = later(() => import("./start/start").then((m) => m.Start));
const Nights = later(() => import("./nights/nights").then((m) => m.Nights));
const Oven = later(() => import("./oven/oven").then((m) => m.Oven));

/** Other ovens: what the first look has set going is known after so long; others come later. */
const OVENS_FIRST_MS = 6000;
const OVENS_MS = 60_000;

const TITLES: Record<Screen, string> = { now: "Now", start: "Start", nights: "Nights", oven: "Oven" };

function Page() {
  const word = useLive();
  const { units } = usePrefs();
  const route = useRoute();
  const [stopping, setStopping] = useState(false);
  const live = word.live && { ...word.live, units: units === "oven" ? word.live.units : units };
  const stale = word.standing !== "fresh";
  const [many, setMany] = useState(false);
  useEffect(() => {
    if (stale) return;
    const look = (): void => {
      if (!document.hidden) get<Ovens>("ovens").then(({ ovens }) => setMany(ovens.length > 1), () => undefined);
    };
    look();
    const first = window.setTimeout(look, OVENS_FIRST_MS);
    const timer = window.setInterval(look, OVENS_MS);
    return () => [window.clearTimeout(first), window.clearInterval(timer)];
  }, [stale, route.screen]);

  useEffect(() => {
    document.title =
      live === null || stale
        ? "nightcure"
        : `${temperature(live.control_c, live.units)}° ${PHASES[live.phase]}`;
  });

  return (
    <>
      <a class="skip" href="#content" onClick={skip}>To the content</a>
      <Bar screen={route.screen} live={live} onStop={() => setStopping(true)} />
      <main id="content" tabIndex={-1} class={`page ${route.screen}${stale ? " old" : ""}`}>
        {live && (
          <header class="top">
            <h1>{live.oven}</h1>
            {many && <a class="small" href="#oven/all">All ovens</a>}
            <p class="clock">
              {live.speed > 1 && <span class="demo">demo, {live.speed} × </span>}
              {hour(live.wall_s)}
            </p>
          </header>
        )}
        <Standing word={word} />
        {live === null ? (
          <Waiting screen={route.screen} locked={word.standing === "locked"} />
        ) : (
          <>
            {route.screen === "now" && <Now live={live} stale={stale} happened={word.happened} />}
            {route.screen === "start" && <Start live={live} stale={stale} />}
            {route.screen === "nights" && <Nights live={live} opened={route.nights} />}
            {route.screen === "oven" && <Oven live={live} at={route.at} />}
          </>
        )}
        <footer class="quiet">
          Not a safety device: an independent cut-out protects the oven. Local codes and licensed
          practice prevail. <a href="licences.txt">Licences</a>
        </footer>
      </main>
      <Announcer live={live} standing={word.standing} />
      {stopping && <StopSheet live={live} onClose={() => setStopping(false)} />}
    </>
  );
}

function skip(event: Event): void {
  event.preventDefault();
  document.getElementById("content")?.focus();
}

function Bar({ screen, live, onStop }: { screen: Screen; live: Live | null; onStop: () => void }) {
  const alarms = live?.alarms.length ?? 0;
  const resting = live?.phase === "idle" || live?.phase === "done";
  return (
    <nav class="bar" aria-label="Screens">
      <ul>
        {SCREENS.map((s) => (
          <li key={s}>
            <a href={`#${s}`} aria-current={s === screen ? "page" : undefined}>
              {TITLES[s]}
              {s === "now" && alarms > 0 && (
                <>
                  <span class="count" aria-hidden="true">{alarms}</span>
                  <span class="sr">, {alarms === 1 ? "an alarm" : `${alarms} alarms`}</span>
                </>
              )}
            </a>
          </li>
        ))}
      </ul>
      <button class={resting ? "stop resting" : "stop"} onClick={onStop}>Stop</button>
    </nav>
  );
}

/** Says so when what is shown is not now, and who is silent. */
function Standing({ word: { standing, age_s, live } }: { word: Word }) {
  if (standing === "fresh" || standing === "waiting" || standing === "locked") return null;
  const old = age(age_s);
  if (standing === "gone") {
    return (
      <p class="oldness">
        <b>No connection.</b> The page's server does not answer; the oven itself may well go on.{" "}
        {live ? `What is shown below is ${old} old. ` : ""}This page tries again by itself. If in doubt,
        pull the heater's plug.
      </p>
    );
  }
  return (
    <p class="oldness">
      <b>Old data.</b>{" "}
      {live
        ? `The controller's last word is ${old} old; what is shown below is not now.`
        : "The controller has said nothing yet."}{" "}
      It is not running, or it hangs. If in doubt, pull the heater's plug.
    </p>
  );
}

function Waiting({ screen, locked }: { screen: Screen; locked: boolean }) {
  if (locked) {
    return (
      <section class="full" aria-label="Log in">
        <h1>nightcure</h1>
        <p>This oven is watched by those who know its passphrase.</p>
        <LogIn onDone={() => location.reload()} />
      </section>
    );
  }
  return (
    <div class="waiting">
      <h1>{screen === "now" ? "nightcure" : TITLES[screen]}</h1>
      <p class="quiet" role="status">Waiting for the controller's first word …</p>
    </div>
  );
}

render(<Page />, document.getElementById("page")!);

// Kept for the next time; the first temperature comes before it.
if ("serviceWorker" in navigator) {
  window.addEventListener("load", () => {
    navigator.serviceWorker.register("sw.js").catch(() => undefined);
  });
}
// The other screens once this one stands: they open at once, and without the server, too.
window.addEventListener("load", () => window.setTimeout(() => [Start, Nights, Oven].forEach((s) => s.fetch()), 1500));
