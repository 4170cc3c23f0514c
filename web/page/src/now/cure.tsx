// Each part: where it stands, when it is hard, and the way there.
import type { Believed, Milestone, MilestoneName, PartCure } from "../types";
import { hour, MILESTONES } from "../words";

/** On the way of every part; the others are told where they come next. */
const WAY: readonly MilestoneName[] = ["gelled", "laminate-opens", "demould"];
/** A range narrower than this is not worth telling, s. */
const NARROW_S = 600;

export const reached = (m: Milestone | undefined, now_s: number): boolean =>
  m !== undefined && m.at_s !== null && m.at_s <= now_s;

const of = (p: PartCure, name: MilestoneName): Milestone | undefined => p.milestones.find((m) => m.name === name);

export function PartRows({ parts, now_s }: { parts: PartCure[]; now_s: number }) {
  if (parts.length === 0) return null;
  return (
    <ul class="part-rows" aria-label="Parts">
      {parts.map((p) => {
        const next = awaited(p, now_s);
        return (
          <li key={p.name}>
            <p class="head"><b>{p.name}</b> <span class="quiet">{standing(p, now_s)}</span></p>
            {next && <p class="next"><b>{coming(next)}</b> <span class="quiet">{range(next, now_s)}</span></p>}
            {p.believed && p.believed.seen.length > 0 && <p class="quiet small">{seen(p.believed, p, next, now_s)}</p>}
            {p.too_cold && <p class="refusal">Colder than its card has data for; expect no cure yet.</p>}
            <ol class="way">
              {p.milestones.map((m) => foreseen(m, p.believed, now_s)).filter((m) => WAY.includes(m.name) && m.at_s !== null).map((m) => (
                <li key={m.name} class={reached(m, now_s) ? "reached" : ""}>
                  {MILESTONES[m.name].short} {reached(m, now_s) ? "✓" : hour(m.at_s!)}
                </li>
              ))}
            </ol>
          </li>
        );
      })}
    </ul>
  );
}

const SIGHTS = { cup: "the gel cup", heat: "its own heat" } as const;

/** A milestone that is still to come, as cup or own heat have it where they were seen. */
function foreseen(m: Milestone, believed: Believed | null | undefined, now_s: number): Milestone {
  const dates = m.name === "gelled" ? believed?.gelled_s : m.name === "demould" ? believed?.demould_s : null;
  if (!dates || believed!.seen.length === 0 || reached(m, now_s) || m.high_s === null) return m;
  return { ...m, low_s: dates[0], at_s: dates[1], high_s: dates[2] };
}

/** What the date goes by, and what the card has instead. */
function seen({ seen: by }: Believed, p: PartCure, next: Milestone | undefined, now_s: number): string {
  const told = `By ${by.map((b) => SIGHTS[b]).join(" and ")}`;
  const card_s = next && !reached(next, now_s) ? (of(p, next.name)?.at_s ?? null) : null;
  if (card_s === null || card_s === next?.at_s) return `${told}.`;
  return `${told}; its card has it at ${hour(card_s)}.`;
}

/** Where a part stands, in the practitioner's words. */
function standing(p: PartCure, now_s: number): string {
  const past = (name: MilestoneName): boolean => reached(of(p, name), now_s);
  if (p.part_c === null) return "not mixed yet";
  for (const name of ["post-cured", "full", "demould"] as const) if (past(name)) return MILESTONES[name].long;
  if (past("laminate-closes")) return MILESTONES["laminate-closes"].long;
  const closes = of(p, "laminate-closes")?.at_s ?? null;
  if (past("laminate-opens")) return `${MILESTONES["laminate-opens"].long}${closes === null ? "" : ` until ${hour(closes)}`}`;
  return past("gelled") ? MILESTONES.gelled.long : "wet";
}

/** What is waited for: that it is hard, else what its card tells next. */
function awaited(p: PartCure, now_s: number): Milestone | undefined {
  const open = p.milestones.filter((m) => m.name !== "laminate-closes" && !reached(m, now_s)).map((m) => foreseen(m, p.believed, now_s));
  return open.find((m) => m.name === "demould") ?? open.find((m) => m.at_s !== null);
}

const coming = (m: Milestone): string =>
  m.at_s === null ? `${MILESTONES[m.name].short}: not foreseen` : `${MILESTONES[m.name].short} by ${hour(m.at_s)}`;

function range({ at_s, low_s, high_s }: Milestone, now_s: number): string {
  const early = low_s !== null && low_s <= now_s;
  if (at_s === null) return early ? "perhaps already, by its card" : "this night ends before";
  if (low_s !== null && high_s === null) return early ? "perhaps already" : `${hour(low_s)} at the earliest`;
  if (low_s === null || high_s === null || high_s - low_s <= NARROW_S) return "";
  return early ? `${hour(high_s)} at the latest` : `${hour(low_s)}–${hour(high_s)}`;
}
