// What the server makes of the profile at hand, asked anew whenever it rests for a moment.
import { useEffect, useState } from "preact/hooks";
import { post, Refused } from "../api";
import type { Profile, Verdict } from "../types";

const REST_MS = 250;

/** The verdict on `profile`; null while it is being asked for. */
export function useVerdict(profile: Profile | null): Verdict | null {
  const [verdict, setVerdict] = useState<Verdict | null>(null);
  const text = profile === null ? "" : JSON.stringify(profile);
  useEffect(() => {
    setVerdict(null);
    if (text === "") return;
    let over = false;
    const timer = window.setTimeout(() => {
      post<Verdict>("profiles/check", JSON.parse(text)).then(
        (said) => !over && setVerdict(said),
        (error: unknown) => {
          if (over) return;
          setVerdict({ refusals: [error instanceof Refused ? error.message : String(error)] });
        },
      );
    }, REST_MS);
    return () => {
      over = true;
      window.clearTimeout(timer);
    };
  }, [text]);
  return verdict;
}
