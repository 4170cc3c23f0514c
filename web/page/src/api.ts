// What the API says, and how to ask it.

export type Role = "air" | "part" | "mould" | "ambient" | "heater";

export interface Thermometer {
  name: string;
  role: Role;
  id: string;
  value_c: number | null;
  fault: string | null;
  age_s: number;
}

export type Segment =
  | { kind: "ramp"; to_c: number; rate_c_per_h: number }
  | { kind: "soak"; at_c: number; hours: number }
  | { kind: "cool"; rate_c_per_h: number; below_c: number };

export interface Profile {
  name: string;
  lag_c: number;
  band_c: number;
  segments: Segment[];
}

/** A profile to choose, and why this oven would refuse it. */
export interface Offer {
  profile: Profile;
  refusals: string[];
}

export interface Alarm {
  name: string;
  state: string;
  latching: boolean;
  message: string;
  since_s: number;
}

export interface Live {
  wall_s: number;
  host_s: number;
  now_s: number;
  oven: string;
  units: "C" | "F";
  speed: number;
  tick_s: number;
  night_id: number | null;
  seq: number;
  phase: "idle" | "ramp" | "soak" | "cool" | "done" | "tripped";
  profile: Profile | null;
  segment: number | null;
  segments: number;
  setpoint_c: number | null;
  control_c: number | null;
  duty: number;
  heater: boolean;
  left_s: number | null;
  ends_s: number | null;
  waiting: boolean;
  next: string;
  trip: Alarm | null;
  thermometers: Thermometer[];
  alarms: Alarm[];
  limits: { air_c: number; part_c: number; ramp_c_per_h: number; longest_night_h: number };
  power_w: number;
}

export interface Samples {
  seq: number[];
  wall_s: number[];
  setpoint_c: (number | null)[];
  control_c: (number | null)[];
  duty: number[];
  believed: (number | null)[][];
}

export interface Night {
  id: number;
  started_s: number;
  ended_s: number | null;
  outcome: string | null;
  profile_name: string;
}

export interface Happening {
  id: number;
  wall_s: number;
  kind: string;
  name: string;
  message: string;
}

/** A refusal of the server: its status and the sentence for the person. */
export class Refused extends Error {
  constructor(
    readonly status: number,
    message: string,
  ) {
    super(message);
  }
}

async function answer<T>(response: Response): Promise<T> {
  if (response.ok) return (await response.json()) as T;
  let sentence = `The server answered ${response.status}.`;
  try {
    sentence = ((await response.json()) as { detail?: string }).detail ?? sentence;
  } catch {
    // no problem document: the status must do
  }
  throw new Refused(response.status, sentence);
}

const GONE = "The page's server does not answer. If the oven must be off now, pull its plug.";

export async function get<T>(path: string): Promise<T> {
  try {
    return await answer<T>(await fetch(`api/${path}`));
  } catch (error) {
    throw error instanceof Refused ? error : new Refused(0, GONE);
  }
}

export async function post<T>(path: string, body: unknown = {}): Promise<T> {
  try {
    const response = await fetch(`api/${path}`, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(body),
    });
    return await answer<T>(response);
  } catch (error) {
    throw error instanceof Refused ? error : new Refused(0, GONE);
  }
}
