// The screen that begins a night: a profile chosen or drawn, the oven checked, then go.
import { useEffect, useRef, useState } from "preact/hooks";
import { get, remove, sentenceOf } from "../api";
import { useKept } from "../kept";
import { Asked, Refusal } from "../sheet";
import type { Live, Offer, Profile } from "../types";
import { duration, hour, inUnits, temperature } from "../words";
import { Cautions, useCautions } from "./cautions";
import { CheckList, useChecks } from "./checks";
import { Editor } from "./editor";
import { blank } from "./edit";
import { Go } from "./go";
import { Odds } from "./odds";
import { Offers } from "./offers";
import { Parts } from "./parts";
import { useProfileCheck } from "./profile-check";
import { VapourShare } from "./vapour";

/** Where drawings begin when no air temperature is known. */
const COLD_C = 10;

const running = (live: Live): boolean => live.phase === "ramp" || live.phase === "soak" || live.phase === "cool";
const ambient = (live: Live): number | null => live.thermometers.find((t) => t.role === "ambient")?.value_c ?? null;

export function Start({ live, stale }: { live: Live; stale: boolean }) {
  const [offers, setOffers] = useState<Offer[] | null>(null);
  const [failed, setFailed] = useState("");
  const [profile, setProfile] = useKept<Profile | null>("next.profile", null);
  const [chosen, setChosen] = useKept<string | null>("next.chosen", null);
  const [editing, setEditing] = useKept("next.editing", false);
  const touched = useRef(profile !== null);
  const [deleting, setDeleting] = useState<string | null>(null);
  const [going, setGoing] = useState(false);
  // A drawing must not move under the finger while the oven warms; the next night starts cold.
  const [start_c] = useState(() => Math.round((running(live) ? ambient(live) : live.control_c) ?? COLD_C));
  const check = useProfileCheck(profile);
  const { checked, failed: unchecked } = useChecks(live);
  const cautions = useCautions();

  /** Fetch what may be chosen; choose by name, else the first unless something was chosen already. */
  const load = async (choose: string | null): Promise<void> => {
    try {
      const all = await get<Offer[]>("profiles");
      setOffers(all);
      const offer = all.find((o) => o.profile.name === choose) ?? all[0];
      if (offer && (choose !== null || !touched.current)) pick(offer);
    } catch (error) {
      setFailed(sentenceOf(error));
    }
  };
  const pick = (offer: Offer): void => {
    touched.current = true;
    setChosen(offer.profile.name);
    setProfile(offer.profile);
  };
  useEffect(() => void load(null), []);

  if (offers === null && failed === "") return <div class="awaited" />;
  const busy = running(live);
  const refused = check?.refusals ?? [];
  const ready = profile !== null && check !== null && refused.length === 0 && !stale && !busy && checked?.ready !== false;
  return (
    <>
      <section class="choose" aria-labelledby="choose-title">
        <h2 id="choose-title">{busy ? "A night is running; draw the next one's profile" : "Tonight's profile"}</h2>
        <Refusal>{failed}</Refusal>
        <Offers offers={offers ?? []} chosen={chosen} start_c={start_c} units={live.units} onChoose={pick} onDelete={setDeleting} />
        <div class="row">
          <button
            class="plain"
            onClick={() => {
              touched.current = true;
              setChosen(null);
              setProfile(blank(live.limits));
              setEditing(true);
            }}
          >
            Draw a new one
          </button>
          <button class="plain" aria-expanded={editing} disabled={profile === null} onClick={() => setEditing(!editing)}>
            {editing ? "Close the drawing" : "Change this one"}
          </button>
        </div>
      </section>
      <div class="column wide">
        {editing && profile && (
          <section aria-labelledby="editor-title">
            <h2 id="editor-title">{chosen === null ? "A new profile" : `Change '${chosen}'`}</h2>
            <Editor
              profile={profile}
              live={live}
              start_c={start_c}
              onChange={setProfile}
              onSaved={(saved) => load(saved.name)}
            />
          </section>
        )}
        {profile && <Parts profile={profile} thermometers={live.thermometers} units={live.units} onChange={setProfile} />}
        {profile && (
          <section class="verdict" aria-label="What the oven makes of it" aria-live="polite">
            {check === null && <p class="quiet">One moment …</p>}
            {refused.map((r) => <p class="refusal" key={r}>{inUnits(r, live.units)}</p>)}
            {check && refused.length === 0 && check.planned_s !== undefined && (
              <p>
                This oven takes it: up to {temperature(check.highest_c ?? null, live.units)} °{live.units}, at
                least {duration(check.planned_s)}; started now, it ends about {hour(live.wall_s + check.planned_s)}.
              </p>
            )}
            {check?.notes?.map((n) => <p class="quiet small" key={n}>{inUnits(n, live.units)}</p>)}
          </section>
        )}
        {profile && check?.vapour && <VapourShare vapour={check.vapour} />}
        {profile && (
          <Odds profile={profile} live={live} shed_c={ambient(live) ?? start_c} refused={refused.length > 0} />
        )}
        <CheckList checked={checked} failed={unchecked} live={live} />
        <Cautions
          told={cautions.told}
          failed={cautions.failed}
          onAccepted={cautions.again}
        />
        {!busy && (
          <button class="main go" disabled={!ready} onClick={() => setGoing(true)}>
            Start{profile ? ` '${profile.name}'` : ""} …
          </button>
        )}
      </div>
      {going && profile && check && (
        <Go profile={profile} check={check} live={live} onClose={() => setGoing(false)} />
      )}
      {deleting !== null && (
        <Asked
          title={`Delete '${deleting}'?`}
          yes="Delete"
          danger
          what={async () => {
            await remove(`profiles/${encodeURIComponent(deleting)}`);
            touched.current = false;
            await load(null);
          }}
          onClose={() => setDeleting(null)}
        >
          <p>The nights that ran with it keep their record.</p>
        </Asked>
      )}
    </>
  );
}
