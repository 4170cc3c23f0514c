// The strip in words, for those who cannot see it: every half hour.
import { useState } from "preact/hooks";
import type { Samples, Units } from "../types";
import { hour, temperature } from "../words";
import type { Traced } from "./lines";

const EVERY_S = 1800;

function halfHours(samples: Samples): number[] {
  const rows: number[] = [];
  let next = -Infinity;
  samples.wall_s.forEach((t, i) => {
    if (t < next) return;
    rows.push(i);
    next = t + EVERY_S;
  });
  return rows;
}

export function Hours({ samples, units, shown }: { samples: Samples; units: Units; shown: Traced[] }) {
  const [open, setOpen] = useState(false);
  return (
    <details class="hours" onToggle={(e) => setOpen(e.currentTarget.open)}>
      <summary>The night as a table</summary>
      {open && (
        <div class="scroll" tabIndex={0} role="region" aria-label="The night as a table">
          <table>
            <thead>
              <tr>
                <th scope="col">time</th>
                <th scope="col">setpoint</th>
                {shown.map((l) => <th scope="col" key={l.label}>{l.label}</th>)}
                <th scope="col">duty</th>
              </tr>
            </thead>
            <tbody>
              {halfHours(samples).map((i) => (
                <tr key={samples.seq[i]}>
                  <th scope="row">{hour(samples.wall_s[i]!)}</th>
                  <td>{temperature(samples.setpoint_c[i] ?? null, units)}</td>
                  {shown.map((l) => (
                    <td key={l.label}>{temperature(samples.believed[l.index]?.[i] ?? null, units)}</td>
                  ))}
                  <td>{Math.round((samples.duty[i] ?? 0) * 100)} %</td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      )}
    </details>
  );
}
