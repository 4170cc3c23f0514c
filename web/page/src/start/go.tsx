// The last question before it heats.
import { useState } from "preact/hooks";
import { post } from "../api";
import { CutOut } from "../fields";
import { forget } from "../kept";
import { Asked } from "../sheet";
import type { Live, Profile, ProfileCheck } from "../types";
import { duration, hour, temperature } from "../words";

interface Props {
  profile: Profile;
  check: ProfileCheck;
  live: Live;
  onClose: () => void;
}

export function Go({ profile, check, live, onClose }: Props) {
  const [confirmed, setConfirmed] = useState(false);
  const { planned_s, highest_c } = check;
  return (
    <Asked
      title="Start heating?"
      yes="Start heating"
      busyWord="Starting …"
      ready={confirmed}
      what={async () => {
        await post("commands/start", { profile, limit_device_confirmed: true });
        forget("next.");
        location.hash = "#now";
      }}
      onClose={onClose}
    >
      <p>
        <b>{profile.name}</b>
        {highest_c !== undefined && `, up to ${temperature(highest_c, live.units)} °${live.units}`}
        {planned_s !== undefined &&
          `, at least ${duration(planned_s)}: until about ${hour(live.wall_s + planned_s)}`}
        .
      </p>
      <CutOut checked={confirmed} onChange={setConfirmed} />
    </Asked>
  );
}
