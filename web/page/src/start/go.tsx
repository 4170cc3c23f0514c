// The last question before it heats: what hinders, or what has to be confirmed.
import { useState } from "preact/hooks";
import { post } from "../api";
import { endsOnCure } from "../course";
import { CutOut, Tick } from "../fields";
import { forget } from "../kept";
import { Asked } from "../sheet";
import type { Box, Cautions, Live, Profile, ProfileCheck } from "../types";
import { duration, hour, temperature } from "../words";
import { CautionList } from "./cautions";

interface Props {
  profile: Profile;
  check: ProfileCheck;
  cautions: Cautions;
  /** What was said of the box's air; null where no resin gives anything off. */
  air: Box | null;
  live: Live;
  onClose: () => void;
}

const WET = { "laid-up": "The parts are just laid up", gelled: "The parts have gelled and aired with the box open", hard: "The parts are hard" };

export function Go({ profile, check, cautions, air, live, onClose }: Props) {
  const [confirmed, setConfirmed] = useState(false);
  const [read, setRead] = useState(cautions.accepted !== null);
  const [aired, setAired] = useState(air === null);
  const { planned_s, highest_c } = check;
  const ends = profile.segments.some(endsOnCure) ? "at most until about" : "until about";
  return (
    <Asked
      title="Start heating?"
      yes="Start heating"
      busyWord="Starting …"
      ready={confirmed && read && aired}
      what={async () => {
        if (cautions.accepted === null) await post("cautions/accept");
        await post("commands/start", { profile, limit_device_confirmed: true });
        forget("next.");
        location.hash = "#now";
      }}
      onClose={onClose}
    >
      <p>
        <b>{profile.name}</b>
        {highest_c !== undefined && `, up to ${temperature(highest_c, live.units)} °${live.units}`}
        {planned_s !== undefined && `, ${duration(planned_s)}: ${ends} ${hour(live.wall_s + planned_s)}`}
        .
      </p>
      {cautions.accepted === null && (
        <>
          <CautionList told={cautions} units={live.units} />
          <Tick checked={read} onChange={setRead}>I have read the cautions and accept them. This is asked once.</Tick>
        </>
      )}
      <CutOut checked={confirmed} onChange={setConfirmed} />
      {air && (
        <Tick checked={aired} onChange={setAired}>
          {`${WET[air.wet ?? "laid-up"]}${air.breathes === "vent" ? ", and the vent is open, a hole low and one high" : ""}${air.air_changes_per_h ? `, and ${+(air.air_changes_per_h * air.volume_m3).toFixed(1)} m³/h of fresh air are ducted through the box` : ""}.`}
        </Tick>
      )}
    </Asked>
  );
}
