// The screen that begins a night: parts, the box's air, a profile, the odds; then go.
import { useEffect, useRef, useState } from "preact/hooks";
import { get, remove, sentenceOf } from "../api";
import { endsOnCure } from "../course";
import { useKept } from "../kept";
import { Asked, Refusal } from "../sheet";
import type { Box, CardOffer, Live, Offer, Part, Profile } from "../types";
import { duration, hour, inUnits, temperature } from "../words";
import { BoxAir, UNKNOWN_BOX } from "./box-air";
import { Cautions, useCautions } from "./cautions";
import { CheckList, hindrances, useChecks } from "./checks";
import { Editor } from "./editor";
import { blank } from "./edit";
import { Go } from "./go";
import { GoBar } from "./go-bar";
import { Odds, type Told } from "./odds";
import { Parts } from "./parts";
import { useProfileCheck } from "./profile-check";
import { ProfileChoice } from "./profile-choice";

/** Where drawings begin when no air temperature is known. */
const COLD_C = 10;

const running = (live: Live): boolean => live.phase === "ramp" || live.phase === "soak" || live.phase === "cool";
const ambient = (live: Live): number | null => live.thermometers.find((t) => t.role === "ambient")?.value_c ?? null;

/** What lies in the oven, whatever profile heats it. */
interface Load {
  parts: Part[];
  box: Box | null;
}

export function Start({ live, stale }: { live: Live; stale: boolean }) {
  const [offers, setOffers] = useState<Offer[] | null>(null);
  const [cards, setCards] = useState<CardOffer[]>([]);
  const [failed, setFailed] = useState("");
  const [profile, setProfile] = useKept<Profile | null>("next.profile", null);
  const [chosen, setChosen] = useKept<string | null>("next.chosen", null);
  const [editing, setEditing] = useKept("next.editing", false);
  const [told, setTold] = useKept<Told | null>("next.told", null);
  const touched = useRef(profile !== null);
  const load = useRef<Load | null>(profile && { parts: profile.parts ?? [], box: profile.box ?? null });
  const [deleting, setDeleting] = useState<string | null>(null);
  const [going, setGoing] = useState(false);
  // A drawing must not move under the finger while the oven warms; the next night starts cold.
  const [start_c] = useState(() => Math.round((running(live) ? ambient(live) : live.control_c) ?? COLD_C));
  const check = useProfileCheck(profile);
  const { checked, failed: unchecked } = useChecks(live);
  const cautions = useCautions();

  const change = (next: Profile): void => {
    touched.current = true;
    load.current = { parts: next.parts ?? [], box: next.box ?? null };
    setProfile(next);
  };
  /** A profile heats what lies in the oven; on a new oven it brings its own parts. */
  const pick = ({ profile: p }: Offer): void => {
    setChosen(p.name);
    change(load.current ? { ...p, ...load.current } : p);
  };
  /** What was searched for, with the parts as they lie in the oven, and its odds. */
  const take = (found: Profile, plan: Omit<Told, "about">): void => {
    const next = { ...found, parts: profile?.parts ?? [], box: profile?.box ?? null };
    setChosen(null);
    change(next);
    setTold({ ...plan, about: JSON.stringify(next) });
  };
  /** Fetch what may be chosen; choose by name, else the first unless something was chosen already. */
  const fetchOffers = async (choose: string | null): Promise<void> => {
    try {
      const [all, last, resins] = await Promise.all([get<Offer[]>("profiles"), get<Load>("remembered"), get<CardOffer[]>("cards")]);
      setOffers(all);
      setCards(resins);
      if (load.current === null && last.parts.length > 0) load.current = last;
      const offer = all.find((o) => o.profile.name === choose) ?? all[0];
      if (offer && (choose !== null || !touched.current)) pick(offer);
    } catch (error) {
      setFailed(sentenceOf(error));
    }
  };
  useEffect(() => void fetchOffers(null), []);

  if (offers === null && failed === "") return <div class="awaited" />;
  const busy = running(live);
  const refused = (check?.refusals ?? []).map((r) => inUnits(r.replace(/^profile '.*?', /, ""), live.units));
  const about = profile && JSON.stringify(profile);
  const plan = told?.about === about ? told : null;
  const styrene = (profile?.parts ?? []).some((p) => cards.find((c) => c.name === p.card)?.styrene ?? true);
  return (
    <>
      <Refusal>{failed}</Refusal>
      {profile && (
        <div class="column">
          {busy && <p class="quiet">A night is running; this is for the next one.</p>}
          <Parts parts={profile.parts ?? []} cards={cards} thermometers={live.thermometers} batches={live.cups !== undefined} onChange={(parts) => change({ ...profile, parts, box: profile.box ?? UNKNOWN_BOX })} />
          {styrene && <BoxAir box={profile.box ?? UNKNOWN_BOX} vapour={check?.vapour ?? null} units={live.units} onChange={(box) => change({ ...profile, box })} />}
        </div>
      )}
      <div class="column wide">
        <section class="choose" aria-labelledby="choose-title">
          <h2 id="choose-title">How it is heated</h2>
          <ProfileChoice offers={offers ?? []} chosen={chosen} profile={profile} start_c={start_c} units={live.units} onChoose={pick} onDelete={setDeleting} />
          <div class="row">
            <button class="plain" aria-expanded={editing} disabled={profile === null} onClick={() => setEditing(!editing)}>
              {editing ? "Close its table" : "Change it"}
            </button>
            <button
              class="plain"
              onClick={() => {
                setChosen(null);
                change({ ...blank(live.limits), ...load.current });
                setEditing(true);
              }}
            >
              A new one
            </button>
          </div>
        </section>
        {editing && profile && (
          <section aria-labelledby="editor-title">
            <h2 id="editor-title">{chosen === null ? "A new profile" : `Change '${chosen}'`}</h2>
            <Editor profile={profile} live={live} start_c={start_c} onChange={change} onSaved={(saved) => fetchOffers(saved.name)} />
          </section>
        )}
        {profile && (
          <section class="verdict" aria-label="What the oven makes of it" aria-live="polite">
            {check === null && <p class="quiet">One moment …</p>}
            {refused.map((r) => <p class="refusal" key={r}>{r[0]!.toUpperCase() + r.slice(1)}</p>)}
            {check && refused.length === 0 && check.planned_s !== undefined && (
              <p>
                This oven takes it: up to {temperature(check.highest_c ?? null, live.units)} °{live.units}, {lasts(profile)}{" "}
                {duration(check.planned_s)}; started now, it ends about {hour(live.wall_s + check.planned_s)}.
              </p>
            )}
            {together(check?.notes ?? []).map((n) => <p class="quiet small" key={n}>{inUnits(n, live.units)}</p>)}
          </section>
        )}
        {profile && (
          <Odds profile={profile} live={live} shed_c={ambient(live) ?? start_c} refused={refused} told={plan} onTold={(plan) => setTold({ ...plan, about: about! })} onWeigh={(name, resin_kg) => change({ ...profile, parts: (profile.parts ?? []).map((p) => (p.name === name ? { ...p, resin_kg } : p)) })} onTake={take} />
        )}
        <CheckList checked={checked} failed={unchecked} live={live} />
        <Cautions told={cautions.told} failed={cautions.failed} units={live.units} />
      </div>
      {!busy && profile && (
        <GoBar
          profile={profile}
          check={check}
          told={plan}
          live={live}
          hindered={stale ? ["The oven's last word is old; nothing is started until it answers."] : hindrances(checked)}
          onMend={({ profile: mended }) => change(mended)}
          onGo={() => setGoing(true)}
        />
      )}
      {going && profile && check && cautions.told && (
        <Go profile={profile} check={check} cautions={cautions.told} air={styrene ? (profile.box ?? null) : null} live={live} onClose={() => setGoing(false)} />
      )}
      {deleting !== null && (
        <Asked
          title={`Delete '${deleting}'?`}
          yes="Delete"
          danger
          what={async () => {
            await remove(`profiles/${encodeURIComponent(deleting)}`);
            touched.current = false;
            await fetchOffers(null);
          }}
          onClose={() => setDeleting(null)}
        >
          <p>The nights that ran with it keep their record.</p>
        </Asked>
      )}
    </>
  );
}

/** A soak that ends on the cure is over before its hours are; one that waits may take longer. */
function lasts({ segments }: Profile): string {
  if (segments.some(endsOnCure)) return "at most about";
  return segments.some((s) => s.kind === "ramp" && s.wait_for) ? "at least" : "about";
}

/** What is said of several parts alike, once: `Lid and Rim: ...`. */
function together(notes: string[]): string[] {
  const names = new Map<string, string[]>();
  for (const note of notes) {
    const [name = "", ...rest] = note.split(": ");
    names.set(rest.join(": "), [...(names.get(rest.join(": ")) ?? []), name]);
  }
  const listed = (of: string[]): string => [of.slice(0, -1).join(", "), of[of.length - 1]].filter(Boolean).join(" and ");
  return [...names].map(([said, of]) => `${listed(of)}: ${said}`);
}
