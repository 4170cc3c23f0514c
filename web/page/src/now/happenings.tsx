// What happened tonight, newest first.
import { useEffect, useState } from "preact/hooks";
import { get } from "../api";
import type { Happening, Live } from "../types";
import { hour, inUnits } from "../words";

const SHOWN = 12;

export function Happenings({ live, happened }: { live: Live; happened: number }) {
  const [list, setList] = useState<Happening[]>([]);
  const mark = `${live.night_id}|${live.phase}|${live.segment}|${live.alarms.map((a) => a.name + a.state).join()}`;
  useEffect(() => {
    const night = live.night_id === null ? "" : `night_id=${live.night_id}&`;
    get<Happening[]>(`events?${night}limit=1000`).then((all) => setList(all.slice(-SHOWN).reverse()), () => undefined);
  }, [mark, happened]);
  if (list.length === 0) return null;
  return (
    <section class="happenings" aria-labelledby="happenings-title">
      <h2 id="happenings-title">What happened</h2>
      <EventList events={list} live={live} />
    </section>
  );
}

export function EventList({ events, live }: { events: Happening[]; live: Live }) {
  return (
    <ol class="events" reversed>
      {events.map((e) => (
        <li key={e.id} class={e.kind}>
          <time>{hour(e.wall_s)}</time> <span>{inUnits(e.message, live.units)}</span>
        </li>
      ))}
    </ol>
  );
}
