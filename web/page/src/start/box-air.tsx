// When the door closes: how wet the parts are and how the box breathes, and what vapour follows.
import { Choice, Meter, NumberField } from "../fields";
import type { Box, Units, Vapour } from "../types";
import { inUnits, plain } from "../words";

/** Of the lower explosive limit, what no night starts above, %. */
export const MOST_PCT = 25;
/** Until a person has said more: small, and not aired at all. */
export const UNKNOWN_BOX: Box = { volume_m3: 0.4, wet: "laid-up", breathes: "ordinary" };

const WET = [["laid-up", "just laid up"], ["gelled", "gelled and aired"], ["hard", "hard"]] as const;
const BREATHES = [["taped", "taped tight"], ["ordinary", "ordinary"], ["vent", "vent open"]] as const;

interface Props {
  box: Box;
  vapour: Vapour | null;
  units: Units;
  onChange: (box: Box) => void;
}

export function BoxAir({ box, vapour, units, onChange }: Props) {
  const set = (what: Partial<Box>): void => onChange({ ...box, evaporated_pct: null, ...what });
  const ducted = (box.air_changes_per_h ?? 0) * box.volume_m3;
  const duct = (volume_m3: number, m3_per_h: number): Partial<Box> => ({ volume_m3, air_changes_per_h: +(m3_per_h / volume_m3).toFixed(4) });
  return (
    <section class="box-air stack" aria-labelledby="box-air-title">
      <h2 id="box-air-title">When the door closes</h2>
      <Choice legend="The parts are" value={box.wet ?? "laid-up"} options={WET} onChange={(wet) => set({ wet })} />
      <Choice legend="The box is" value={box.breathes ?? "ordinary"} options={BREATHES} onChange={(breathes) => set({ breathes })} />
      {vapour && (
        <div class={vapour.percent_lel > MOST_PCT ? "much" : ""}>
          <Meter pct={vapour.percent_lel} level={vapour.percent_lel > MOST_PCT ? "much" : ""} />
          <p class="quiet small">{inUnits(vapour.sentence, units)}</p>
        </div>
      )}
      <details class="fold">
        <summary>The box holds {plain(box.volume_m3, 2)} m³{ducted > 0 && `, ${plain(ducted)} m³/h are ducted through it`}</summary>
        <div class="row">
          <NumberField label="the box holds" unit="m³" range={[0.01, 1000]} value={box.volume_m3} onChange={(volume_m3) => set(duct(volume_m3, ducted))} hint="length × width × height inside" />
          <NumberField label="ducted fresh air, measured" unit="m³/h" range={[0, 10_000]} value={ducted} onChange={(m3_per_h) => set(duct(box.volume_m3, m3_per_h))} hint="0 if no fan blows any in" />
        </div>
        <p class="quiet small">A vent is a hole of 40 mm low and one high, left open.</p>
      </details>
    </section>
  );
}
