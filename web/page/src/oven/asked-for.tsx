// What was asked of the oven, by whom, and what became of it.
import { useEffect, useState } from "preact/hooks";
import { get } from "../api";
import type { Asked } from "../types";
import { day, hour } from "../words";

const SHOWN = 20;
const COMMANDS: Record<string, string> = {
  setpoint: "another temperature",
  extend: "a longer or shorter soak",
  skip: "leave the segment",
  open: "open the box",
  shut: "the box is shut",
  offset: "correct a thermometer",
  cup: "gel cup",
  reset: "reset the trip",
  silence: "silence the siren",
};

export function AskedFor() {
  const [list, setList] = useState<Asked[]>([]);
  useEffect(() => {
    get<Asked[]>(`commands?limit=${SHOWN}`).then(setList, () => undefined);
  }, []);
  if (list.length === 0) return null;
  return (
    <section aria-labelledby="asked-title">
      <h2 id="asked-title">Who asked for what</h2>
      <ol class="events" reversed>
        {list.map((c) => (
          <li key={c.id}>
            <time>{day(c.asked_s)}, {hour(c.asked_s)}</time>{" "}
            <span>
              {COMMANDS[c.word] ?? c.word}, {c.who}: {c.outcome ?? "not yet taken"}{c.message && `. ${c.message}`}
            </span>
          </li>
        ))}
      </ol>
    </section>
  );
}
