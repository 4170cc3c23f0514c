// Start, always in reach: it says what it starts, or what hinders and what lifts that.
import { useEffect, useState } from "preact/hooks";
import { firstWrong } from "../fields";
import type { Live, Mend, Profile, ProfileCheck } from "../types";
import { hour, inUnits, MILESTONES } from "../words";
import { chance, type Told } from "./odds";
import { today } from "./outlook";

interface Props {
  profile: Profile;
  check: ProfileCheck | null;
  told: Told | null;
  live: Live;
  /** What hinders any start now, sentences. */
  hindered: string[];
  onMend: (mend: Mend) => void;
  onGo: () => void;
}

export function GoBar({ profile, check, told, live, hindered, onMend, onGo }: Props) {
  const [why, setWhy] = useState("");
  const [pressed, setPressed] = useState(false);
  const mend = check?.mend ?? null;
  const refused = (check?.refusals.length ?? 0) > 0;
  const said = hindered[0] ?? (refused && mend ? mend.sentence : why);
  const go = (): void => {
    const field = firstWrong(document.getElementById("content")!);
    if (field) return setWhy("A field above holds what cannot be; it is marked.");
    if (check === null) return setPressed(true); // it goes on once the oven has looked at it
    if (refused) {
      document.querySelector(".verdict")?.scrollIntoView({ block: "center" });
      return setWhy("The oven does not take this profile; it says why above.");
    }
    setWhy("");
    if (hindered.length === 0) onGo();
  };
  useEffect(() => {
    if (!pressed || check === null) return;
    setPressed(false);
    go();
  }, [check]);
  return (
    <div class="go-bar">
      {said && <p role="status">{inUnits(said, live.units)}</p>}
      {refused && mend && hindered.length === 0 ? (
        <button class="main go" onClick={() => onMend(mend)}>{inUnits(mend.button, live.units)}</button>
      ) : (
        <button class="main go" onClick={go}>Start{promised(profile, told, live)}</button>
      )}
    </div>
  );
}

/** `: hard by 23:50, likely`, where it was worked out; else the profile's name. */
function promised(profile: Profile, told: Told | null, live: Live): string {
  const { goal = "demould", milestones = [] } = told?.plan ?? {};
  const times = milestones.filter((m) => m.name === goal).map((m) => m.p50_s);
  if (!told || times.length === 0 || times.some((t) => t === null)) return ` '${profile.name}'`;
  const at_s = today(told.start, live.wall_s) + Math.max(...(times as number[]));
  return `: ${MILESTONES[goal].short} by ${hour(at_s)}, ${chance(told.plan)}`;
}
