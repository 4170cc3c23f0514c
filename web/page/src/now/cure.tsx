// How far each part's resin is, in words.
import type { Live, Milestone, PartCure } from "../types";
import { hour, MILESTONES } from "../words";

export function Cure({ live }: { live: Live }) {
  const parts = live.cure ?? [];
  if (parts.length === 0) return null;
  return (
    <section class="cure" aria-labelledby="cure-title">
      <h2 id="cure-title">Cure</h2>
      <ComingTo parts={parts} now_s={live.wall_s} />
      <p class="quiet small">Times come from the resin's data sheet and the temperatures so far; the range is what the sheet leaves open.</p>
    </section>
  );
}

/** Each part with what it has come to, and what it will come to when. */
export function ComingTo({ parts, now_s }: { parts: PartCure[]; now_s: number }) {
  return (
    <ul class="cards">
      {parts.map((p) => (
        <li key={p.name}>
          <h3>{p.name}{p.degree !== null && <small class="quiet"> {Math.round(p.degree * 100)} % cured</small>}</h3>
          {p.too_cold && <p class="refusal">Colder than its card has data for; expect no cure yet.</p>}
          {p.part_c === null && <p class="quiet">Not mixed yet.</p>}
          <ol>
            {spoken(p).map((m) => (
              <li key={m.name} class={reached(m, now_s) ? "reached" : ""}>
                <span class="mark" aria-hidden="true" />
                <span>{MILESTONES[m.name].long}</span>
                <span class="when">{when(m, now_s)}</span>
              </li>
            ))}
          </ol>
        </li>
      ))}
    </ul>
  );
}

/** Milestones worth a line: those its card tells and the night may bring. */
const spoken = (p: PartCure): Milestone[] => p.milestones.filter((m) => m.at_s !== null);

export const reached = (m: Milestone, now_s: number): boolean => m.at_s !== null && m.at_s <= now_s;

function when(m: Milestone, now_s: number): string {
  if (m.at_s === null) return "not in sight";
  if (reached(m, now_s)) return `at ${hour(m.at_s)}`;
  if (m.low_s !== null && m.high_s === null) return `about ${hour(m.at_s)}, ${hour(m.low_s)} at the earliest`;
  const band = m.low_s !== null && m.high_s !== null && m.high_s - m.low_s > 600;
  return band ? `about ${hour(m.at_s)}, ${hour(m.low_s!)} to ${hour(m.high_s!)}` : `about ${hour(m.at_s)}`;
}
