// What nights have taught of the oven, and how often what was foretold held.
import { useEffect, useState } from "preact/hooks";
import { get } from "../api";
import type { Units } from "../types";
import type { HeldRange, Learned } from "./types";
import { plain } from "../words";

/** With fewer ranges a score says nothing. */
const LEAST = 3;

export function useLearned(again: unknown): Learned | null {
  const [learned, setLearned] = useState<Learned | null>(null);
  useEffect(() => {
    get<Learned>("learned").then(setLearned, () => undefined);
  }, [again]);
  return learned;
}

const shown = (w_per_k: number, units: Units): string => plain(units === "F" ? w_per_k / 1.8 : w_per_k, 2);
const unit = (units: Units): string => (units === "F" ? "W/°F" : "W/K");

/** The oven's loss by its nights, beside its model. */
export function LearnedLoss({ learned, units }: { learned: Learned | null; units: Units }) {
  if (learned === null || learned.oven.nights === 0) return null;
  const { nights, loss_w_per_k: loss, stated_loss_w_per_k: stated, jumped } = learned.oven;
  const [low, likely, high] = loss.map((l) => shown(l, units));
  const percent = jumped === null ? 0 : Math.round(100 * Math.abs(jumped - 1));
  return (
    <>
      <p>
        By {nights === 1 ? "one night" : `${nights} nights`} it loses {likely} {unit(units)} (8 of 10: {low} to {high}); oven.toml
        says {shown(stated, units)} {unit(units)}.
      </p>
      {jumped !== null && (
        <p class="refusal">
          {jumped > 1
            ? `It lost ${percent} % more last night than before: look at lid, tape and door.`
            : `It lost ${percent} % less last night than before: was it taped better, or did a thermometer hang elsewhere?`}
        </p>
      )}
    </>
  );
}

/** How often the ranges of the nights before held what came. */
export function Score({ learned }: { learned: Learned | null }) {
  if (learned === null || learned.foretold < LEAST) return null;
  return (
    <p class="quiet">
      What was foretold held in {learned.held} of {learned.foretold}; 8 of 10 should.
    </p>
  );
}

/** What was foretold of one night and what came, a line each. */
export const foretold = (learned: Learned | null, night_id: number, units: Units): string[] =>
  (learned?.ranges ?? []).filter((r) => r.night_id === night_id).map((r) => line(r, units));

function line(r: HeldRange, units: Units): string {
  if (r.what === "loss") return `loss ${shown(r.low, units)} to ${shown(r.high, units)} ${unit(units)}, was ${shown(r.came, units)}`;
  return `gel of ${r.name} ${plain(r.low, 2)} to ${plain(r.high, 2)} times its card's, was ${plain(r.came, 2)}`;
}
