// Figures of one night, or of two side by side.
import type { Units } from "../types";
import { duration, plain, steps, temperature } from "../words";
import type { NightFigures } from "./night-figures";

interface Column {
  title: string;
  figures: NightFigures;
  power_w: number;
}

export function FigureTable({ columns, units }: { columns: Column[]; units: Units }) {
  const degree = (c: number | null): string => (c === null ? "–" : `${temperature(c, units)} °${units}`);
  const rows: [string, (c: Column) => string][] = [
    ["lasted", ({ figures: f }) => duration(f.lasted_s)],
    ["highest air", ({ figures: f }) => degree(f.highest_air_c)],
    ["highest part", ({ figures: f }) => degree(f.highest_part_c)],
    ["soaked", ({ figures: f }) => duration(f.soaked_s)],
    [
      "air from setpoint in the soak, mean",
      ({ figures: f }) => (f.soak_error_k === null ? "–" : `${plain(steps(f.soak_error_k, units), 2)} ${units === "F" ? "°F" : "K"}`),
    ],
    ["heat given, mean", ({ figures: f }) => `${Math.round(f.mean_duty * 100)} %`],
    [
      "heat used, about",
      ({ figures: f, power_w }) => `${((f.mean_duty * power_w * f.lasted_s) / 3.6e6).toFixed(2)} kWh`,
    ],
  ];
  return (
    <table class="compared">
      {columns.length > 1 && (
        <thead>
          <tr>
            <td />
            {columns.map((c) => <th scope="col" key={c.title}>{c.title}</th>)}
          </tr>
        </thead>
      )}
      <tbody>
        {rows.map(([name, say]) => (
          <tr key={name}>
            <th scope="row">{name}</th>
            {columns.map((c) => <td key={c.title}>{say(c)}</td>)}
          </tr>
        ))}
      </tbody>
    </table>
  );
}
