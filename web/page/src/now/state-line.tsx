// One line of state: whether all is well, or what waits and why.
import type { Live } from "../types";
import { inUnits, PHASES } from "../words";

export function StateLine({ live, stale }: { live: Live; stale: boolean }) {
  return (
    <p class="state">
      <b class={`word ${live.phase}`}>{PHASES[live.phase]}</b> <span>{inUnits(said(live, stale), live.units)}</span>
    </p>
  );
}

function said(live: Live, stale: boolean): string {
  if (stale) return `By its last word: ${live.next}`;
  if (live.trip) return live.why_off?.sentence ?? live.next;
  if (live.alarms.length > 0) return `See the warning above. ${live.next}`;
  const running = live.phase === "ramp" || live.phase === "soak" || live.phase === "cool";
  return running && !live.waiting && !live.box_open ? `All is well. ${live.next}` : live.next;
}
