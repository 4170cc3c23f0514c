// What a screen reader hears by itself: the phase politely, alarms and silence at once.
import { useEffect, useRef, useState } from "preact/hooks";
import type { Standing } from "../live";
import type { Live } from "../types";
import { inUnits, PHASES } from "../words";

const SILENT: Record<Standing, string> = {
  waiting: "",
  fresh: "",
  locked: "",
  silent: "Old data: the controller is silent. If in doubt, pull the heater's plug.",
  gone: "No connection: the page's server does not answer. If in doubt, pull the heater's plug.",
};

export function Announcer({ live, standing }: { live: Live | null; standing: Standing }) {
  const [alarm, setAlarm] = useState("");
  const told = useRef(new Set<string>());
  const alarms = (live?.alarms ?? []).filter((a) => a.state.includes("unacknowledged"));
  const mark = alarms.map((a) => `${a.name}@${a.since_s}`).join();
  useEffect(() => {
    const fresh = alarms.filter((a) => !told.current.has(`${a.name}@${a.since_s}`));
    fresh.forEach((a) => told.current.add(`${a.name}@${a.since_s}`));
    if (fresh.length > 0) setAlarm(fresh.map((a) => a.message).join(" "));
    else if (alarms.length === 0) setAlarm("");
  }, [mark]);
  const phase =
    live === null
      ? ""
      : `${PHASES[live.phase]}${live.segment === null ? "" : `, ${live.segment + 1} of ${live.segments}`}.`;
  return (
    <>
      <p class="sr" role="status" aria-live="polite">{phase}</p>
      <p class="sr" role="alert" aria-live="assertive">
        {[SILENT[standing], alarm && live ? inUnits(alarm, live.units) : ""].join(" ").trim()}
      </p>
    </>
  );
}
