// One's own profile: its table, the same as a drawing, its name, and keeping it.
import { useState } from "preact/hooks";
import { post, Refused } from "../api";
import { firstWrong, NumberField } from "../fields";
import { Asked } from "../sheet";
import type { Live, Profile, Segment } from "../types";
import { steps } from "../words";
import { Drawing } from "./drawing";
import { SegmentTable } from "./segments";

interface Props {
  profile: Profile;
  live: Live;
  start_c: number;
  onChange: (profile: Profile) => void;
  onSaved: (profile: Profile) => Promise<void>;
}

export function Editor({ profile, live, start_c, onChange, onSaved }: Props) {
  const [saving, setSaving] = useState(false);
  const [taken, setTaken] = useState(false);
  const u = live.units;
  const segments = (next: Segment[]): void => onChange({ ...profile, segments: next });
  const tolerance = (label: string, k: number, [least, most]: [number, number], set: (k: number) => Partial<Profile>) => (
    <NumberField label={label} unit={u === "F" ? "°F" : "K"} range={[steps(least, u), steps(most, u)]} value={steps(k, u)} onChange={(v) => onChange({ ...profile, ...set(+(u === "F" ? v / 1.8 : v).toFixed(3)) })} />
  );
  return (
    <div class="editor stack">
      <SegmentTable profile={profile} limits={live.limits} units={u} onChange={segments} />
      <Drawing segments={profile.segments} start_c={start_c} limits={live.limits} units={u} onChange={segments} />
      <details>
        <summary>How it waits</summary>
        <div class="row">
          {tolerance("A ramp waits while the air is behind by more than", profile.lag_c, [0.5, 30], (lag_c) => ({ lag_c }))}
          {tolerance("A soak counts while air and parts are below it by no more than", profile.band_c, [0.2, 10], (band_c) => ({ band_c }))}
        </div>
      </details>
      <div class="row">
        <label class="field grow">
          Name
          <input
            type="text"
            maxLength={60}
            autocomplete="off"
            value={profile.name}
            aria-invalid={profile.name.trim() === ""}
            onInput={(e) => {
              setTaken(false);
              onChange({ ...profile, name: e.currentTarget.value });
            }}
          />
        </label>
        <button type="button" class="plain" onClick={() => document.querySelector(".editor") && !firstWrong(document.querySelector(".editor")!) && setSaving(true)}>Save …</button>
      </div>
      {saving && (
        <Asked
          title={`Save '${profile.name}'?`}
          yes={taken ? "Replace it" : "Save"}
          what={async () => {
            try {
              await post(`profiles${taken ? "?replace=true" : ""}`, { profile });
            } catch (error) {
              if (error instanceof Refused && error.status === 409) setTaken(true);
              throw error;
            }
            setTaken(false);
            await onSaved(profile);
          }}
          onClose={() => setSaving(false)}
        >
          <p>It is kept in the ledger, for this and later nights.</p>
        </Asked>
      )}
    </div>
  );
}
