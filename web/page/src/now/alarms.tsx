// Alarms: what happened and what to do, acknowledge, reset.
import { useState } from "preact/hooks";
import { post } from "../api";
import { Asked } from "../sheet";
import { useTelling } from "../telling";
import type { Alarm, Live, Telling } from "../types";
import { hour, inUnits } from "../words";
import { stepsAfter } from "./what-to-do";

const STATES: Record<string, string> = {
  unacknowledged: "not yet acknowledged",
  acknowledged: "acknowledged",
  "returned-unacknowledged": "not seen any more, not yet acknowledged",
  latched: "waits for a reset",
};

/** What to do first, first: a trip, then what still stands, then what is not seen any more. */
function inOrder(alarms: Alarm[]): Alarm[] {
  const rank = (a: Alarm) => (a.latching ? 0 : a.state.startsWith("returned") ? 2 : 1);
  return [...alarms].sort((a, b) => rank(a) - rank(b));
}

function title(a: Alarm): string {
  return `${a.latching ? "Trip" : "Warning"}: ${a.words || a.name.split("-").join(" ")}`;
}

/** Which services have taken the news of a trip. */
function whoKnows(telling: Telling | null, since_s: number): string {
  if (telling === null || telling.seen_s === null) return "No message was sent: no notifier is installed.";
  const told = telling.services.filter((s) => s.sent_s !== null && s.sent_s >= since_s).map((s) => s.name);
  return told.length > 0 ? `Told: ${told.join(", ")}.` : "No message has got through yet.";
}

export function Alarms({ live }: { live: Live }) {
  const [asked, setAsked] = useState<string | null>(null);
  const [resetting, setResetting] = useState(false);
  const [silencing, setSilencing] = useState(false);
  const telling = useTelling(live.trip?.name ?? "");
  if (live.alarms.length === 0 && !resetting && asked === null) return null;
  return (
    <section class="alarms" aria-label="Alarms">
      {inOrder(live.alarms).map((a) => (
        <article key={a.name} class={a.latching ? "alarm trip" : "alarm"}>
          <h2>
            {title(a)}{" "}
            <small>since {hour(a.since_s)}, {STATES[a.state] ?? a.state}</small>
          </h2>
          <p>{inUnits(a.message, live.units)}</p>
          {a.name === live.trip?.name && (
            <>
              <p>The heater is switched off since {hour(a.since_s)}, relay and contactor are open. {whoKnows(telling, a.since_s)}</p>
              <ol class="steps" aria-label="What to do">{stepsAfter(a.name).map((step) => <li key={step}>{step}</li>)}</ol>
            </>
          )}
          <div class="row">
            {a.state.includes("unacknowledged") && (
              <button class="plain" onClick={() => setAsked(a.name)}>Acknowledge</button>
            )}
            {live.siren === true && a.state.includes("unacknowledged") && (
              <button class="plain" onClick={() => setSilencing(true)}>Silence the siren …</button>
            )}
            {a.name === live.trip?.name && (
              <button class="plain" onClick={() => setResetting(true)}>Reset the trip …</button>
            )}
          </div>
        </article>
      ))}
      {asked !== null && (
        <Asked
          title="Acknowledge the alarm?"
          yes="Acknowledge"
          what={() => post("commands/acknowledge", { alarm: asked })}
          onClose={() => setAsked(null)}
        >
          <p>It says that somebody has seen it; it does not change what the oven does.</p>
        </Asked>
      )}
      {silencing && (
        <Asked title="Silence the siren?" yes="Silence it" what={() => post("commands/silence")} onClose={() => setSilencing(false)}>
          <p>It is quiet until the next alarm. Nothing is acknowledged and nothing is reset by it.</p>
        </Asked>
      )}
      {resetting && (
        <Asked
          title="Reset the trip?"
          yes="Cause is gone, reset"
          what={async () => {
            if (live.trip?.state.includes("unacknowledged")) await post("commands/acknowledge");
            await post("commands/reset");
          }}
          onClose={() => setResetting(false)}
        >
          <p>{inUnits(live.trip?.message ?? "The oven has tripped.", live.units)}</p>
          <p>
            Reset only after you have found the cause and put it right. Nothing heats until a new
            start.
          </p>
        </Asked>
      )}
    </section>
  );
}
