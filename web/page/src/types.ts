// What the API says. Temperatures are °C, times UTC seconds.

export type Units = "C" | "F";
export type Role = "air" | "part" | "mould" | "ambient" | "heater";
export type Phase = "idle" | "ramp" | "soak" | "cool" | "done" | "tripped";
export type MilestoneName =
  | "gelled"
  | "laminate-opens"
  | "laminate-closes"
  | "demould"
  | "full"
  | "post-cured";

export interface Thermometer {
  name: string;
  role: Role;
  id: string;
  value_c: number | null;
  fault: string | null;
  age_s: number;
}

export type Ramp = {
  kind: "ramp";
  to_c: number;
  rate_c_per_h: number;
  wait_for?: MilestoneName | null;
  wait_at_most_h?: number;
  /** The parts are kept so far below their glass transition, K; in the soaks after it, too. */
  tg_margin_k?: number | null;
};
export type Soak = {
  kind: "soak";
  at_c: number;
  hours: number;
  until?: MilestoneName | null;
  until_tg_c?: number | null;
  until_degree?: number | null;
};
export type Cool = { kind: "cool"; rate_c_per_h: number; below_c: number };
export type Segment = Ramp | Soak | Cool;

export interface Part {
  name: string;
  card: string;
  catalyst_pct?: number | null;
  resin_kg: number;
  /** Resin batch: a gel cup of it dates the part. */
  batch?: string | null;
  sensor?: string | null;
  start_h?: number;
  /** Where it stood from its mixing to the start. */
  before_c?: number | null;
  [more: string]: unknown;
}

export interface Box {
  volume_m3: number;
  wet?: "laid-up" | "gelled" | "hard" | null;
  breathes?: "taped" | "ordinary" | "vent" | null;
  air_changes_per_h?: number;
  evaporated_pct?: number | null;
  [more: string]: unknown;
}

export interface Profile {
  name: string;
  lag_c: number;
  band_c: number;
  segments: Segment[];
  parts?: Part[];
  box?: Box | null;
}

/** A resin card; its least and most catalyst, null where the ratio is fixed. */
export interface CardOffer {
  name: string;
  title: string;
  least_pct: number | null;
  most_pct: number | null;
  demould: boolean;
  styrene: boolean;
  /** Made on this page; else it ships. */
  own?: boolean;
}

/** A profile to choose, why this oven would refuse it, and whether a person saved it. */
export interface Offer {
  profile: Profile;
  refusals: string[];
  own?: boolean;
}

export interface Vapour {
  percent_lel: number;
  sentence: string;
}

/** The change, or the act of a person, after which a refused profile starts. */
export interface Mend {
  sentence: string;
  button: string;
  profile: Profile;
}

/** What the server makes of a profile. */
export interface ProfileCheck {
  refusals: string[];
  mend?: Mend | null;
  planned_s?: number;
  highest_c?: number;
  notes?: string[];
  vapour?: Vapour | null;
  course?: [number, number][];
}

export interface Alarm {
  name: string;
  words: string;
  state: string;
  latching: boolean;
  message: string;
  since_s: number;
}

/** When a milestone came or should come, wall time; `low_s` and `high_s` are its band's ends. */
export interface Milestone {
  name: MilestoneName;
  at_s: number | null;
  low_s: number | null;
  high_s: number | null;
}

export interface PartCure {
  name: string;
  part_c: number | null;
  degree: number | null;
  too_cold: boolean;
  milestones: Milestone[];
  /** What is believed of it from cup and own heat; wall s, early, likely, late. */
  believed?: Believed | null;
}

export type Dated = readonly [number | null, number | null, number | null];
export interface Believed {
  gelled_s: Dated;
  demould_s: Dated | null;
  seen: ("cup" | "heat")[];
}

/** A cup of tonight's resin: when it gelled dates the parts of its batch. */
export interface GelCup {
  batch: string;
  grams: number;
  held: "cup" | "film" | "probe";
  sensor: string | null;
  after_s: number;
  gelled_after_s: number | null;
  gel_factor: readonly [number, number, number] | null;
  gel_row: readonly [number, number] | null;
}

export interface Limits {
  air_c: number;
  part_c: number;
  hottest_soak_c: number;
  ramp_c_per_h: number;
  longest_night_h: number;
}

export interface Live {
  wall_s: number;
  /** False: the board's clock is not set yet. */
  clock_set?: boolean;
  /** Somebody has said that the box is open; that wet resin was laid in it. */
  box_open?: boolean;
  wet_resin?: boolean;
  host_s: number;
  now_s: number;
  oven: string;
  units: Units;
  speed: number;
  tick_s: number;
  night_id: number | null;
  seq: number;
  phase: Phase;
  profile: Profile | null;
  segment: number | null;
  segments: number;
  setpoint_c: number | null;
  control_c: number | null;
  duty: number;
  heater: boolean;
  /** Why the heater may not be on; null where it may. */
  why_off: { code: string; fields: Record<string, string>; sentence: string } | null;
  left_s: number | null;
  ends_s: number | null;
  /** Where a cure may end it sooner: how long it lasts at most, s. */
  most_s?: number | null;
  waiting: boolean;
  next: string;
  cure?: PartCure[];
  cups?: GelCup[];
  /** True: it sounds; false: silent; null: none is declared. */
  siren?: boolean | null;
  trip: Alarm | null;
  thermometers: Thermometer[];
  alarms: Alarm[];
  limits: Limits;
  power_w: number;
}

/** A night's series in columns. */
export interface Samples {
  seq: number[];
  wall_s: number[];
  setpoint_c: (number | null)[];
  control_c: (number | null)[];
  duty: number[];
  phase?: Phase[];
  believed: (number | null)[][];
}

export interface NightRow {
  id: number;
  label: string;
  started_s: number;
  ended_s: number | null;
  outcome: string | null;
  reason: string | null;
  profile_name: string;
}

export interface Night {
  id: number;
  label: string;
  oven: string;
  version: string;
  profile: Profile;
  thermometers: Pick<Thermometer, "id" | "name" | "role">[];
  power_w: number;
  started_s: number;
  ended_s: number | null;
  outcome: string | null;
  reason: string | null;
}

/** What a person asks in the morning. */
export interface Morning {
  verdict: string;
  tone: "good" | "fair" | "bad";
  parts: { part: string; sentence: string; foretold: string; found: string }[];
  /** Its SHA-256; empty where there is none. */
  photo: string;
  pdf: boolean;
}

export type Notes = Record<string, string>;
export interface Noted {
  last: { who: string; host_s: number } | null;
  [field: string]: unknown;
}

export type Interval = { value: number; low: number; high: number };

/** The guided test of the oven, under way or the last one. */
export interface SurveyNow {
  running: boolean;
  night_id: number | null;
  noted_s: number | null;
  sentence: string;
  found: { loss_w_per_k: Interval | null; heat_capacity_j_per_k: Interval | null } | null;
  /** What it comes to, a sentence each. */
  meaning: string[];
  /** Whether oven.toml has it. */
  written: boolean;
}

/** What one night in ten stays below, the middle, and what nine in ten stay below. */
export type Spread = { p10: number; p50: number; p90: number };

/** Whether a night will do. Times are s after its start. */
export interface Plan {
  answer: string;
  weak_point: string;
  probability: number;
  /** The same should a resin on a generic card be a slow maker's; null where none is generic. */
  probability_if_slow_maker: number | null;
  goal: MilestoneName;
  deadline_s: number;
  energy_kwh: Spread;
  /** Where oven.toml tells the price. */
  cost?: Spread | null;
  currency?: string | null;
  /** Parts whose own heat would spoil the night, and what of each could be laid at once. */
  too_much_at_once?: { parts: string[]; resin_kg: number[]; would_do_kg: number[]; probability: number } | null;
  milestones: { part: string; name: MilestoneName; p10_s: number | null; p50_s: number | null; p90_s: number | null }[];
  warnings: string[];
  levers: { what: string; probability_gain: number }[];
  nights: number;
  curves: { time_s: number[]; lines: { name: string; p10_c: number[]; p50_c: number[]; p90_c: number[] }[] };
}

/** A profile that was searched for, with its plan. */
export interface Advised {
  kind: "least stress" | "least energy" | "earliest";
  sure: boolean;
  course: string;
  profile: Profile;
  plan: Plan;
}

export interface Happening {
  id: number;
  night_id: number | null;
  wall_s: number;
  kind: string;
  name: string;
  message: string;
}

export interface Asked {
  id: number;
  word: string;
  who: string;
  asked_s: number;
  outcome: string | null;
  message: string | null;
}

export interface Check {
  name: string;
  ok: boolean;
  sentence: string;
  /** Whether a start asks for it; else it is a note. */
  needed?: boolean;
}

export interface Cautions {
  cautions: { title: string; text: string }[];
  accepted: { who: string; host_s: number } | null;
}

export interface OvenSettings {
  oven: string;
  units: Units;
  groups: {
    title: string;
    rows: { name: string; value: string | number | boolean | null; unit: string; explains: string }[];
  }[];
  thermometers: {
    id: string;
    name: string;
    role: Role;
    offset_c: number;
    last_check: { method: string; wall_s: number; who: string } | null;
  }[];
  /** What the oven's numbers come to, a sentence each. */
  meaning: string[];
  /** What the settings mean for box and place, the gravest first. */
  consequences: { rating: "ok" | "look at" | "wrong"; sentence: string }[];
}

/** A box by its sizes, as it was understood and what it comes to. */
export interface Ruled {
  faces: { name: string; area_m2: number }[];
  /** Corners of its end, m; empty where only areas are known. */
  outline_m: number[][];
  length_m: number;
  area_m2: number;
  volume_m3: number;
  loss_w_per_k: number;
  leak_w_per_k: number;
  hold_w: number;
  recommended_w: number | null;
  meaning: string[];
  cautions: string[];
  what_ifs: { change: string; loss_w_per_k: number; rise_k: number }[];
  one_heat: { sentences: string[] };
}

/** What the answers for a new card make: faults by question, or the card. */
export interface CardCheck {
  faults: Record<string, string>;
  card: CardOffer | null;
  unanswered: string[];
}

/** How it stands with the notifier. */
export interface Telling {
  runs: boolean;
  seen_s: number | null;
  services: { name: string; waiting: number; sent_s: number | null; failing_s: number | null; sentence: string | null }[];
  messages: { id: number; kind: string; at_s: number; title: string; text: string }[];
}

/** Whether this browser can be told by the page itself. */
export interface Push {
  possible: boolean;
  why_not: string | null;
  key: string | null;
}
