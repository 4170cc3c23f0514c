// What the API says of the ovens of this host and network.

export interface OvenCard {
  address: string;
  found: "here" | "listed" | "host" | "network";
  name: string;
  line: string;
  air_c: number | null;
  setpoint_c: number | null;
  milestone: string | null;
  milestone_s: number | null;
  alarm: string | null;
  tripped: boolean;
  age_s: number | null;
}
export interface Ovens {
  ovens: OvenCard[];
}
