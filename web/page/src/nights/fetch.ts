// A recorded night with its series.
import { useEffect, useState } from "preact/hooks";
import { get, sentenceOf } from "../api";
import type { Night, Samples } from "../types";

const POINTS = 1200;

export interface Recorded {
  night: Night;
  samples: Samples;
}

export const nightName = (n: Pick<Night, "id" | "label">): string => n.label || `Night ${n.id}`;

/** Nights by their numbers, in that order; null while they are being fetched. */
export function useRecorded(ids: number[]): { recorded: Recorded[] | null; failed: string; change: (night: Night) => void } {
  const [recorded, setRecorded] = useState<Recorded[] | null>(null);
  const [failed, setFailed] = useState("");
  useEffect(() => {
    let over = false;
    setRecorded(null);
    setFailed("");
    const one = async (id: number): Promise<Recorded> => {
      const [night, samples] = await Promise.all([
        get<Night>(`nights/${id}`),
        get<Samples>(`nights/${id}/samples?points=${POINTS}`),
      ]);
      return { night, samples };
    };
    Promise.all(ids.map(one)).then(
      (all) => !over && setRecorded(all),
      (error: unknown) => !over && setFailed(sentenceOf(error)),
    );
    return () => {
      over = true;
    };
  }, [ids.join()]);
  const change = (night: Night): void =>
    setRecorded((all) => all && all.map((r) => (r.night.id === night.id ? { ...r, night } : r)));
  return { recorded, failed, change };
}
