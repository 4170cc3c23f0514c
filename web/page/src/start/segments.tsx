// The profile as numbers to type.
import { endsOnCure } from "../course";
import { NumberField } from "../fields";
import type { Limits, MilestoneName, Profile, Segment, Units } from "../types";
import { celsius, degrees, MILESTONES, plain, steps } from "../words";
import { changed, highestC, withCool, withStage } from "./edit";

interface Props {
  profile: Profile;
  limits: Limits;
  units: Units;
  onChange: (segments: Segment[]) => void;
}

const TITLES = { ramp: "Ramp", soak: "Soak", cool: "Cool-down" };

export function SegmentTable({ profile, limits, units, onChange }: Props) {
  const { segments } = profile;
  const cured = (profile.parts?.length ?? 0) > 0;
  const change = (i: number, what: Partial<Segment>): void => onChange(changed(segments, i, what));
  return (
    <div class="segments">
      <p class="quiet small">
        This oven: at most {plain(degrees(highestC(limits), units))} °{units}, ramps up to{" "}
        {plain(steps(limits.ramp_c_per_h, units))} °{units}/h, a night of {plain(limits.longest_night_h)} h.
      </p>
      <ol>
        {segments.map((s, i) => (
          <li key={i} aria-label={`Segment ${i + 1}, ${TITLES[s.kind]}`}>
            <b>{TITLES[s.kind]}</b>
            <Numbers s={s} limits={limits} units={units} onChange={(what) => change(i, what)} />
            {cured && s.kind === "ramp" && (
              <Awaited label="waits until" value={s.wait_for ?? null} onChange={(wait_for) => change(i, { wait_for })} />
            )}
            {cured && s.kind === "soak" && (
              <Awaited label="ends once" value={s.until ?? null} onChange={(until) => change(i, { until })} />
            )}
            <button
              type="button"
              class="small"
              aria-label={`Remove segment ${i + 1}`}
              disabled={segments.length === 1}
              onClick={() => onChange(segments.filter((_, j) => j !== i))}
            >
              Remove
            </button>
          </li>
        ))}
      </ol>
      <div class="row">
        <button type="button" class="plain" onClick={() => onChange(withStage(segments, limits))}>Add ramp and soak</button>
        {!segments.some((s) => s.kind === "cool") && (
          <button type="button" class="plain" onClick={() => onChange(withCool(segments, limits))}>Add cool-down</button>
        )}
      </div>
    </div>
  );
}

interface NumbersProps {
  s: Segment;
  limits: Limits;
  units: Units;
  onChange: (what: Partial<Segment>) => void;
}

function Numbers({ s, limits, units, onChange }: NumbersProps) {
  const warmth = (label: string, c: number, set: (c: number) => Partial<Segment>) => (
    <NumberField label={label} unit={`°${units}`} range={[degrees(0, units), degrees(highestC(limits), units)]} value={degrees(c, units)} onChange={(v) => onChange(set(+celsius(v, units).toFixed(3)))} />
  );
  const rate = (label: string, c: number) => (
    <NumberField label={label} unit={`°${units}/h`} range={[steps(0.1, units), steps(limits.ramp_c_per_h, units)]} value={steps(c, units)} onChange={(v) => onChange({ rate_c_per_h: +(units === "F" ? v / 1.8 : v).toFixed(3) })} />
  );
  if (s.kind === "ramp") {
    const { tg_margin_k: margin_k } = s;
    return (
      <>
        {warmth("to", s.to_c, (to_c) => ({ to_c }))}
        {rate("at", s.rate_c_per_h)}
        {margin_k != null && (
          <NumberField label="below the glass transition by" unit={units === "F" ? "°F" : "K"} range={[0, steps(30, units)]} value={steps(margin_k, units)} onChange={(v) => onChange({ tg_margin_k: +(units === "F" ? v / 1.8 : v).toFixed(3) })} />
        )}
      </>
    );
  }
  if (s.kind === "soak") {
    return (
      <>
        {warmth("at", s.at_c, (at_c) => ({ at_c }))}
        <NumberField label={endsOnCure(s) ? "for at most" : "for"} unit="h" range={[0.05, limits.longest_night_h]} value={s.hours} onChange={(hours) => onChange({ hours })} />
        {s.until_tg_c && (
          <NumberField label="or to a glass transition of" unit={`°${units}`} range={[degrees(20, units), degrees(200, units)]} value={degrees(s.until_tg_c, units)} onChange={(v) => onChange({ until_tg_c: +celsius(v, units).toFixed(3) })} />
        )}
        {s.until_degree && (
          <NumberField label="or until cured by" unit="%" range={[10, 99.9]} value={100 * s.until_degree} onChange={(v) => onChange({ until_degree: +(v / 100).toFixed(4) })} />
        )}
      </>
    );
  }
  return <>{warmth("below", s.below_c, (below_c) => ({ below_c }))}{rate("at most", s.rate_c_per_h)}</>;
}

interface AwaitedProps {
  label: string;
  value: MilestoneName | null;
  onChange: (value: MilestoneName | null) => void;
}

function Awaited({ label, value, onChange }: AwaitedProps) {
  return (
    <label class="number awaits">
      <span>{label}</span>
      <select value={value ?? ""} onChange={(e) => onChange((e.currentTarget.value || null) as MilestoneName | null)}>
        <option value="">–</option>
        {Object.entries(MILESTONES).map(([name, words]) => <option key={name} value={name}>{name === "demould" ? words.short : words.long}</option>)}
      </select>
    </label>
  );
}
