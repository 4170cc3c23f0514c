// Cautions, accepted at an oven's first start and readable ever after.
import { useEffect, useState } from "preact/hooks";
import { get, sentenceOf } from "../api";
import { Refusal } from "../sheet";
import type { Cautions as Told, Units } from "../types";
import { day, inUnits } from "../words";

export function useCautions(): { told: Told | null; failed: string } {
  const [told, setTold] = useState<Told | null>(null);
  const [failed, setFailed] = useState("");
  useEffect(() => {
    get<Told>("cautions").then(setTold, (error: unknown) => setFailed(sentenceOf(error)));
  }, []);
  return { told, failed };
}

export function Cautions({ told, failed, units }: { told: Told | null; failed: string; units: Units }) {
  if (told === null) return <Refusal>{failed}</Refusal>;
  return (
    <details class="fold cautions">
      <summary>
        Cautions: {told.accepted === null ? "asked at the first start" : `accepted for this oven on ${day(told.accepted.host_s)}`}
      </summary>
      <CautionList told={told} units={units} />
    </details>
  );
}

export const CautionList = ({ told, units }: { told: Told; units: Units }) => (
  <dl class="cautions">
    {told.cautions.map((c) => (
      <div key={c.title}>
        <dt>{c.title}</dt>
        <dd>{inUnits(c.text, units)}</dd>
      </div>
    ))}
  </dl>
);
