// The box is opened and shut: one button, and one question.
import { useState } from "preact/hooks";
import { post } from "../api";
import { Asked } from "../sheet";
import type { Live } from "../types";

type Asking = "look" | "lay" | "shut" | null;

export function Box({ live, stale }: { live: Live; stale: boolean }) {
  const [asking, setAsking] = useState<Asking>(null);
  const close = (): void => setAsking(null);
  if (live.phase !== "ramp" && live.phase !== "soak" && live.phase !== "cool") return null;
  return (
    <section class="box" aria-labelledby="box-title">
      <h2 id="box-title">The box</h2>
      {live.box_open && <p>{live.why_off?.sentence ?? "The box is open."}</p>}
      <div class="row">
        {!live.box_open && (
          <button class="plain" disabled={stale} onClick={() => setAsking("look")}>I am opening the box …</button>
        )}
        {live.box_open && !live.wet_resin && (
          <button class="plain" disabled={stale} onClick={() => setAsking("lay")}>Wet resin is laid …</button>
        )}
        {live.box_open && (
          <button class="plain" disabled={stale} onClick={() => setAsking("shut")}>The box is shut …</button>
        )}
      </div>
      {asking === "look" && (
        <Asked title="Opening the box" yes="Only to look" what={() => post("commands/open", { laying: false })} onClose={close}>
          <p>The heater goes off. After a look the night goes on by itself once the box is shut.</p>
          <button type="button" class="plain" onClick={() => setAsking("lay")}>I lay wet resin …</button>
        </Asked>
      )}
      {asking === "lay" && (
        <Asked title="Wet resin is laid" yes="I lay wet resin" what={() => post("commands/open", { laying: true })} onClose={close}>
          <p>The heater stays off until you confirm that the resin has gelled with the box open.</p>
        </Asked>
      )}
      {asking === "shut" && (
        <Asked
          title="The box is shut"
          yes={live.wet_resin ? "Resin has gelled, box is shut" : "The box is shut"}
          what={() => post("commands/shut", { aired: live.wet_resin === true })}
          onClose={close}
        >
          <p>{live.wet_resin ? "Say so only if the resin has gelled with the box open: wet resin in a warm, shut box fills it with vapour that can burn." : "The night goes on."}</p>
        </Asked>
      )}
    </section>
  );
}
