// Thermometers with their corrections, and checking one.
import { useState } from "preact/hooks";
import { post } from "../api";
import { Choice, NumberField } from "../fields";
import { Asked } from "../sheet";
import type { Live, OvenSettings } from "../types";
import { celsius, day, degrees, FAULTS, plain, ROLES, steps, temperature } from "../words";

type Probe = OvenSettings["thermometers"][number];
type Method = "ice-point" | "reference" | "typed";

const METHODS: readonly (readonly [Method, string])[] = [
  ["ice-point", "in ice water"],
  ["reference", "beside a reference"],
  ["typed", "typed in"],
];
const SAID: Record<string, string> = {
  "ice-point": "at the ice point",
  reference: "against a reference",
  typed: "as typed in",
};
/** What the controller lets a correction be, K. */
const MOST_K = 5;

interface Props {
  settings: OvenSettings;
  live: Live;
  onChecked: () => void;
}

export function Thermometers({ settings, live, onChecked }: Props) {
  const [checking, setChecking] = useState<Probe | null>(null);
  const u = live.units;
  return (
    <section class="probes" aria-labelledby="probes-title">
      <h2 id="probes-title">Thermometers</h2>
      <ul class="list">
        {settings.thermometers.map((t) => {
          const now = live.thermometers.find((x) => x.id === t.id);
          return (
            <li key={t.id} class={now?.fault ? "bad" : ""}>
              <span>
                {t.name} <small class="quiet">{ROLES[t.role]}</small>
                <br />
                <small class="quiet">
                  {t.offset_c === 0 ? "not corrected" : `corrected by ${correction(t.offset_c, u)}`}
                  {t.last_check ? `, checked ${day(t.last_check.wall_s)} ${SAID[t.last_check.method] ?? t.last_check.method}` : ", never checked"}
                </small>
              </span>
              <span>{now?.fault ? (FAULTS[now.fault] ?? now.fault) : `${temperature(now?.value_c ?? null, u)} °${u}`}</span>
              <button class="small" aria-label={`Check ${t.name}`} onClick={() => setChecking(t)}>Check …</button>
            </li>
          );
        })}
      </ul>
      {checking && (
        <CheckSheet
          probe={checking}
          live={live}
          onClose={() => setChecking(null)}
          onChecked={onChecked}
        />
      )}
    </section>
  );
}

const correction = (k: number, u: "C" | "F"): string =>
  `${k > 0 ? "+" : ""}${plain(steps(k, u), 2)} ${u === "F" ? "°F" : "K"}`;

interface CheckProps {
  probe: Probe;
  live: Live;
  onClose: () => void;
  onChecked: () => void;
}

function CheckSheet({ probe, live, onClose, onChecked }: CheckProps) {
  const u = live.units;
  const now_c = live.thermometers.find((t) => t.id === probe.id)?.value_c ?? null;
  const [method, setMethod] = useState<Method>("ice-point");
  const [reference, setReference] = useState(() => +degrees(now_c ?? 20, u).toFixed(1));
  const [typed, setTyped] = useState(() => steps(probe.offset_c, u));
  const offset_c = u === "F" ? typed / 1.8 : typed;
  const body = {
    sensor_id: probe.id,
    method,
    ...(method === "reference" ? { reference_c: +celsius(reference, u).toFixed(3) } : {}),
    ...(method === "typed" ? { offset_c: +offset_c.toFixed(3) } : {}),
  };
  return (
    <Asked
      title={`Check ${probe.name}`}
      yes="Correct it"
      what={async () => {
        await post("commands/offset", body);
        onChecked();
      }}
      onClose={onClose}
    >
      <p>It shows <b>{temperature(now_c, u)} °{u}</b> now. Thermometers are checked while the oven rests.</p>
      <Choice legend="How" value={method} options={METHODS} onChange={setMethod} />
      {method === "ice-point" && (
        <p>Hold the probe in a cup of crushed ice and a little water, stir, and wait until it stands still for a minute. Then it should show {temperature(0, u)} °{u}.</p>
      )}
      {method === "reference" && (
        <NumberField label="The reference shows" unit={`°${u}`} range={[Math.floor(degrees((now_c ?? 20) - MOST_K, u)), Math.ceil(degrees((now_c ?? 20) + MOST_K, u))]} value={reference} onChange={setReference} hint="Both side by side, out of the draught, standing still for a minute." />
      )}
      {method === "typed" && (
        <NumberField label="Add to every reading" unit={u === "F" ? "°F" : "K"} range={[steps(-MOST_K, u), steps(MOST_K, u)]} value={typed} onChange={setTyped} hint={`From ${correction(-MOST_K, u)} to ${correction(MOST_K, u)}.`} />
      )}
    </Asked>
  );
}
