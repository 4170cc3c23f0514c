// What the API says of what nights have taught.

/** A range that was foretold, and what came: the oven's loss (W/K), or the factor on a card's gel time. */
export interface HeldRange {
  night_id: number;
  what: "loss" | "gel";
  /** Of the batch. */
  name: string;
  low: number;
  high: number;
  came: number;
  held: boolean;
}

/** What nights have taught. */
export interface Learned {
  oven: { nights: number; loss_w_per_k: number[]; stated_loss_w_per_k: number; jumped: number | null };
  held: number;
  foretold: number;
  ranges: HeldRange[];
}
