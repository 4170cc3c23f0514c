// What slides up and asks: the passphrase, which profile, are you sure.
import type { ComponentChildren } from "preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { get, post, Refused, type Live, type Offer, type Profile } from "./api";
import { corners } from "./course";
import { duration, temperature, type Units } from "./words";

interface SheetProps {
  title: string;
  onClose: () => void;
  children: ComponentChildren;
}

export function Sheet({ title, onClose, children }: SheetProps) {
  const dialog = useRef<HTMLDialogElement>(null);
  useEffect(() => dialog.current?.showModal(), []);
  return (
    <dialog ref={dialog} class="sheet" aria-labelledby="sheet-title" onClose={onClose}>
      <h2 id="sheet-title">{title}</h2>
      {children}
    </dialog>
  );
}

/** Runs something that may be refused; keeps whether it is under way and the refusal's sentence. */
export function useAsk(): [boolean, string, (what: () => Promise<void>) => void] {
  const [busy, setBusy] = useState(false);
  const [refusal, setRefusal] = useState("");
  const ask = (what: () => Promise<void>): void => {
    setBusy(true);
    setRefusal("");
    what().then(
      () => setBusy(false),
      (error: unknown) => {
        setBusy(false);
        setRefusal(error instanceof Refused ? error.message : String(error));
      },
    );
  };
  return [busy, refusal, ask];
}

/** The passphrase, where this browser is not logged in; then what it guards. */
export function Gate({ onClose, children }: { onClose: () => void; children: ComponentChildren }) {
  const [open, setOpen] = useState<boolean | null>(null);
  const [phrase, setPhrase] = useState("");
  const [busy, refusal, ask] = useAsk();
  const [failed, setFailed] = useState("");
  useEffect(() => {
    get<{ logged_in: boolean }>("session").then(
      (s) => setOpen(s.logged_in),
      (error: Error) => setFailed(error.message),
    );
  }, []);
  if (failed) return <p class="refusal" role="alert">{failed}</p>;
  if (open === null) return <p class="quiet">One moment …</p>;
  if (open) return <>{children}</>;
  return (
    <form
      class="stack"
      onSubmit={(event) => {
        event.preventDefault();
        ask(async () => {
          await post("login", { passphrase: phrase });
          setOpen(true);
        });
      }}
    >
      <label class="field">
        The oven's passphrase
        <input
          type="password"
          autocomplete="current-password"
          value={phrase}
          onInput={(event) => setPhrase(event.currentTarget.value)}
          autofocus
        />
      </label>
      {refusal && <p class="refusal" role="alert">{refusal}</p>}
      <div class="choices">
        <button type="button" class="plain" onClick={onClose}>Back</button>
        <button type="submit" class="main" disabled={busy || phrase === ""}>Log in</button>
      </div>
    </form>
  );
}

export function StopSheet({ onClose }: { onClose: () => void }) {
  const [busy, refusal, ask] = useAsk();
  return (
    <Sheet title="Stop this night?" onClose={onClose}>
      <Gate onClose={onClose}>
        <p>The heater goes off at once and the night ends. What has cured so far stays cured.</p>
        {refusal && <p class="refusal" role="alert">{refusal}</p>}
        <div class="choices">
          <button class="plain" onClick={onClose}>Let it go on</button>
          <button
            class="danger"
            disabled={busy}
            autofocus
            onClick={() => ask(async () => { await post("commands/stop"); onClose(); })}
          >
            {busy ? "Stopping …" : "Stop now"}
          </button>
        </div>
      </Gate>
    </Sheet>
  );
}

export function ResetSheet({ live, onClose }: { live: Live; onClose: () => void }) {
  const [busy, refusal, ask] = useAsk();
  return (
    <Sheet title="Reset the trip?" onClose={onClose}>
      <Gate onClose={onClose}>
        <p>{live.trip?.message ?? "The oven has tripped."}</p>
        <p>Reset only after you have found the cause and put it right. Nothing heats until a new start.</p>
        {refusal && <p class="refusal" role="alert">{refusal}</p>}
        <div class="choices">
          <button class="plain" onClick={onClose}>Back</button>
          <button
            class="main"
            disabled={busy}
            onClick={() =>
              ask(async () => {
                await post("commands/acknowledge").catch(() => undefined);
                await post("commands/reset");
                onClose();
              })
            }
          >
            Cause is gone, reset
          </button>
        </div>
      </Gate>
    </Sheet>
  );
}

export function AcknowledgeSheet({ name, onClose }: { name: string; onClose: () => void }) {
  const [busy, refusal, ask] = useAsk();
  return (
    <Sheet title="Acknowledge the alarm?" onClose={onClose}>
      <Gate onClose={onClose}>
        <p>It says that somebody has seen it; it does not change what the oven does.</p>
        {refusal && <p class="refusal" role="alert">{refusal}</p>}
        <div class="choices">
          <button class="plain" onClick={onClose}>Back</button>
          <button
            class="main"
            disabled={busy}
            onClick={() =>
              ask(async () => { await post("commands/acknowledge", { alarm: name }); onClose(); })
            }
          >
            Acknowledge
          </button>
        </div>
      </Gate>
    </Sheet>
  );
}

function Sketch({ profile, start_c }: { profile: Profile; start_c: number }) {
  const points = corners(profile.segments, start_c);
  const width = points[points.length - 1]![0] || 1;
  const top = Math.max(...points.map((p) => p[1]));
  const low = Math.min(...points.map((p) => p[1]));
  const path = points
    .map(([h, c]) => `${(4 + (h / width) * 92).toFixed(1)},${(30 - ((c - low) / (top - low || 1)) * 26).toFixed(1)}`)
    .join(" ");
  return (
    <svg class="sketch" viewBox="0 0 100 34" aria-hidden="true">
      <polyline points={path} />
    </svg>
  );
}

function inWords(profile: Profile, start_c: number, units: Units): string {
  const points = corners(profile.segments, start_c);
  const hours = points[points.length - 1]![0];
  const parts = profile.segments.map((s) => {
    if (s.kind === "ramp") return `to ${temperature(s.to_c, units, 0)}° at ${units === "F" ? (s.rate_c_per_h * 1.8).toFixed(0) : s.rate_c_per_h}°/h`;
    if (s.kind === "soak") return `${s.hours} h at ${temperature(s.at_c, units, 0)}°`;
    return `cool below ${temperature(s.below_c, units, 0)}°`;
  });
  return `${parts.join(", ")}; about ${duration(hours * 3600)}`;
}

const CAUTIONS = [
  "Resin vapour burns. No glowing wire, no hot-air gun, no spark in the box; let wet parts air first.",
  "An independent cut-out with manual reset must be fitted in the oven and tested: this program is no safety device.",
  "Peroxide catalyst never goes into the oven. A smoke alarm hangs above it; an extinguisher is at hand.",
  "Local codes and licensed practice prevail over anything shown here.",
];

export function StartSheet({ live, onClose }: { live: Live; onClose: () => void }) {
  const [offers, setOffers] = useState<Offer[]>([]);
  const [chosen, setChosen] = useState(0);
  const [read, setRead] = useState(false);
  const [busy, refusal, ask] = useAsk();
  const [failed, setFailed] = useState("");
  useEffect(() => {
    get<Offer[]>("profiles").then(setOffers, (error: Error) => setFailed(error.message));
  }, []);
  const start_c = live.control_c ?? 10;
  const offer = offers[chosen];
  return (
    <Sheet title="Start a night" onClose={onClose}>
      <Gate onClose={onClose}>
        {failed && <p class="refusal" role="alert">{failed}</p>}
        <fieldset class="profiles">
          <legend>Profile</legend>
          {offers.map(({ profile: p, refusals }, i) => (
            <label key={p.name} class={i === chosen ? "profile chosen" : "profile"}>
              <input type="radio" name="profile" checked={i === chosen} onChange={() => setChosen(i)} />
              <Sketch profile={p} start_c={start_c} />
              <span>
                <b>{p.name}</b>
                <small>{inWords(p, start_c, live.units)}</small>
                {refusals.map((r) => <small class="refusal" key={r}>{r}</small>)}
              </span>
            </label>
          ))}
        </fieldset>
        <details class="cautions" open>
          <summary>Before it heats</summary>
          <ul>{CAUTIONS.map((c) => <li key={c}>{c}</li>)}</ul>
        </details>
        <label class="check">
          <input type="checkbox" checked={read} onChange={(e) => setRead(e.currentTarget.checked)} />
          I have read this, and the oven is as it says.
        </label>
        {refusal && <p class="refusal" role="alert">{refusal}</p>}
        <div class="choices">
          <button class="plain" onClick={onClose}>Back</button>
          <button
            class="main"
            disabled={busy || !read || !offer || offer.refusals.length > 0}
            onClick={() => ask(async () => { await post("commands/start", { profile: offer?.profile }); onClose(); })}
          >
            {busy ? "Starting …" : "Start heating"}
          </button>
        </div>
      </Gate>
    </Sheet>
  );
}
