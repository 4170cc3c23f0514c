// The nights so far: a list, one opened, two compared.
import { useEffect, useState } from "preact/hooks";
import { get, sentenceOf } from "../api";
import { Refusal } from "../sheet";
import type { Live, NightRow } from "../types";
import { day, duration, hour, OUTCOMES } from "../words";
import { Compare } from "./compare";
import { nightName } from "./fetch";
import { foretold, Score, useLearned } from "./learned";
import { OneNight } from "./one";

const PAGE = 50;

export function Nights({ live, opened }: { live: Live; opened: number[] }) {
  if (opened.length === 2) return <Compare ids={opened} live={live} />;
  if (opened.length === 1) return <OneNight id={opened[0]!} live={live} />;
  return <NightList live={live} />;
}

function NightList({ live }: { live: Live }) {
  const [rows, setRows] = useState<NightRow[] | null>(null);
  const [more, setMore] = useState(false);
  const [failed, setFailed] = useState("");
  const [picked, setPicked] = useState<number[]>([]);
  const learned = useLearned(live.night_id);
  const fetchFrom = (offset: number): void => {
    get<NightRow[]>(`nights?limit=${PAGE}&offset=${offset}`).then(
      (next) => {
        setRows((before) => (offset === 0 ? next : [...(before ?? []), ...next]));
        setMore(next.length === PAGE);
      },
      (error: unknown) => setFailed(sentenceOf(error)),
    );
  };
  useEffect(() => fetchFrom(0), [live.night_id]);
  const pick = (id: number): void =>
    setPicked((p) => (p.includes(id) ? p.filter((x) => x !== id) : [...p, id].slice(-2)));
  return (
    <section class="nights-list full" aria-labelledby="nights-title">
      <h2 id="nights-title">Nights</h2>
      <Refusal>{failed}</Refusal>
      <Score learned={learned} />
      {rows?.length === 0 && <p class="quiet">No night has been recorded yet.</p>}
      <ul class={rows === null ? "awaited" : ""}>
        {rows?.map((n) => (
          <li key={n.id}>
            <a href={`#nights/${n.id}`}>
              <b>{nightName(n)}</b>
              <span>{day(n.started_s)}, {hour(n.started_s)}{n.ended_s !== null && `, ${duration(n.ended_s - n.started_s)}`}</span>
              <small class="quiet">{n.profile_name}</small>
              <small class={`outcome ${n.outcome ?? "runs"}`}>{n.outcome === null ? "is running" : (OUTCOMES[n.outcome] ?? n.outcome)}</small>
              {foretold(learned, n.id, live.units).map((l) => <small key={l} class="quiet told">{l}</small>)}
            </a>
            {rows!.length > 1 && (
              <label class="check">
                <input type="checkbox" checked={picked.includes(n.id)} onChange={() => pick(n.id)} />
                <span class="sr">Compare {nightName(n)}</span>
              </label>
            )}
          </li>
        ))}
      </ul>
      {(rows?.length ?? 0) > 1 && (
        <div class="row">
          <button
            class="main"
            disabled={picked.length !== 2}
            onClick={() => {
              location.hash = `#nights/${[...picked].sort((a, b) => a - b).join("+")}`;
            }}
          >
            Compare the two ticked
          </button>
          {more && <button class="plain" onClick={() => fetchFrom(rows?.length ?? 0)}>Earlier nights</button>}
        </div>
      )}
    </section>
  );
}
