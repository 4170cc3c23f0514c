// What the server makes of the profile at hand, asked anew whenever it rests for a moment.
import { useEffect, useState } from "preact/hooks";
import { post, Refused } from "../api";
import type { Profile, ProfileCheck } from "../types";

const REST_MS = 250;

/** What the oven makes of `profile`; null while it is being asked for. */
export function useProfileCheck(profile: Profile | null): ProfileCheck | null {
  const [checked, setChecked] = useState<ProfileCheck | null>(null);
  const text = profile === null ? "" : JSON.stringify(profile);
  useEffect(() => {
    setChecked(null);
    if (text === "") return;
    let over = false;
    const timer = window.setTimeout(() => {
      post<ProfileCheck>("profiles/check", JSON.parse(text)).then(
        (said) => !over && setChecked(said),
        (error: unknown) => {
          if (over) return;
          setChecked({ refusals: [error instanceof Refused ? error.message : String(error)] });
        },
      );
    }, REST_MS);
    return () => {
      over = true;
      window.clearTimeout(timer);
    };
  }, [text]);
  return checked;
}
