// Alarms: what happened and what to do, acknowledge, reset.
import { useState } from "preact/hooks";
import { post } from "../api";
import { Asked } from "../sheet";
import type { Alarm, Live } from "../types";
import { hour, inUnits } from "../words";
import { stepsAfter } from "./what-to-do";

const STATES: Record<string, string> = {
  unacknowledged: "not yet acknowledged",
  acknowledged: "acknowledged",
  "returned-unacknowledged": "not seen any more, not yet acknowledged",
  latched: "waits for a reset",
};

function title(a: Alarm): string {
  return `${a.latching ? "Trip" : "Warning"}: ${a.name.split("-").join(" ")}`;
}

export function Alarms({ live }: { live: Live }) {
  const [asked, setAsked] = useState<string | null>(null);
  const [resetting, setResetting] = useState(false);
  if (live.alarms.length === 0 && !resetting && asked === null) return null;
  return (
    <section class="alarms" aria-label="Alarms">
      {live.alarms.map((a) => (
        <article key={a.name} class={a.latching ? "alarm trip" : "alarm"}>
          <h2>
            {title(a)}{" "}
            <small>since {hour(a.since_s)}, {STATES[a.state] ?? a.state}</small>
          </h2>
          <p>{inUnits(a.message, live.units)}</p>
          {a.name === live.trip?.name && (
            <>
              <p>The heater is switched off since {hour(a.since_s)}, relay and contactor are open.</p>
              <ol class="steps" aria-label="What to do">{stepsAfter(a.name).map((step) => <li key={step}>{step}</li>)}</ol>
            </>
          )}
          <div class="row">
            {a.state.includes("unacknowledged") && (
              <button class="plain" onClick={() => setAsked(a.name)}>Acknowledge</button>
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
