// What must be so before a night: the controller's own checks, in words.
import { useEffect, useState } from "preact/hooks";
import { get, sentenceOf } from "../api";
import { Refusal } from "../sheet";
import type { Check, Live } from "../types";
import { inUnits } from "../words";

export interface Checked {
  ready: boolean;
  checks: Check[];
}

const AGAIN_MS = 5000;

/** The checks, looked at again every few seconds while the screen is open. */
export function useChecks(live: Live): { checked: Checked | null; failed: string } {
  const [checked, setChecked] = useState<Checked | null>(null);
  const [failed, setFailed] = useState("");
  const mark = `${live.phase}|${live.alarms.map((a) => a.name + a.state).join()}`;
  useEffect(() => {
    let over = false;
    const look = (): void => {
      get<Checked>("start-checks").then(
        (now) => {
          if (over) return;
          setChecked(now);
          setFailed("");
        },
        (error: unknown) => !over && setFailed(sentenceOf(error)),
      );
    };
    look();
    const timer = window.setInterval(look, AGAIN_MS);
    return () => {
      over = true;
      window.clearInterval(timer);
    };
  }, [mark]);
  return { checked, failed };
}

/** The sentences of what hinders a start; the cautions are asked when it is started. */
export const hindrances = (checked: Checked | null): string[] =>
  (checked?.checks ?? []).filter((c) => !c.ok && c.needed !== false && c.name !== "cautions").map((c) => c.sentence);

export function CheckList({ checked, failed, live }: { checked: Checked | null; failed: string; live: Live }) {
  const told = checked?.checks.filter((c) => c.name !== "cautions") ?? [];
  const good = told.filter((c) => c.ok);
  return (
    <section class="checks" aria-labelledby="checks-title">
      <h2 id="checks-title">Before a start</h2>
      <Refusal>{failed}</Refusal>
      <List checks={told.filter((c) => !c.ok)} live={live} />
      <details class="fold">
        <summary>{good.length} of {told.length} checks are in order</summary>
        <List checks={good} live={live} />
      </details>
    </section>
  );
}

const List = ({ checks, live }: { checks: Check[]; live: Live }) => (
  <ul>
    {checks.map((c) => (
      <li key={c.name} class={c.ok ? "ok" : c.needed === false ? "note" : "not"}>
        <span class="mark" aria-hidden="true" />
        <span><span class="sr">{c.ok ? "In order: " : c.needed === false ? "Note: " : "Not in order: "}</span>{inUnits(c.sentence, live.units)}</span>
      </li>
    ))}
  </ul>
);
