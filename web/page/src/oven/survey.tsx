// Getting to know the oven: the guided heat-and-cool test, under way or what the last one told.
import { useEffect, useState } from "preact/hooks";
import { get, post } from "../api";
import { CutOut, NumberField } from "../fields";
import { Asked } from "../sheet";
import type { SurveyNow, Units } from "../types";
import { duration, inUnits, plain } from "../words";

const AGAIN_MS = 5000;
/** The night is surveyed once more, which takes a small board a while. */
const WRITES_MS = 150_000;

export function Survey({ resting, units }: { resting: boolean; units: Units }) {
  const [now, setNow] = useState<SurveyNow | null>(null);
  const [asking, setAsking] = useState(false);
  const [writing, setWriting] = useState(false);
  const [said, setSaid] = useState("");
  const [confirmed, setConfirmed] = useState(false);
  const [precision_pct, setPrecision] = useState(10);
  const running = now?.running ?? false;
  useEffect(() => {
    const look = (): void => void get<SurveyNow>("survey").then(setNow, () => undefined);
    look();
    if (!running) return;
    const timer = window.setInterval(look, AGAIN_MS);
    return () => window.clearInterval(timer);
  }, [running]);
  if (now === null) return null;
  const { found } = now;
  return (
    <section class="survey stack" aria-labelledby="survey-title">
      <h2 id="survey-title">What the oven loses and holds</h2>
      <p role="status">
        {inUnits(now.sentence, units)} {running && now.noted_s ? `Noted for ${duration(now.noted_s)}.` : ""}
      </p>
      {found && (
        <dl class="settings">
          {[
            ["Loss", found.loss_w_per_k, 1, "W/K"] as const,
            ["Heat capacity", found.heat_capacity_j_per_k, 1000, "kJ/K"] as const,
          ].map(([name, told, by, unit]) => told && (
            <div key={name}>
              <dt>{name}</dt>
              <dd>{inUnits(`${plain(told.value / by)} ${unit}`, units)}</dd>
              <dd class="quiet small">From {inUnits(`${plain(told.low / by)} ${unit}`, units)} to {inUnits(`${plain(told.high / by)} ${unit}`, units)} in 19 of 20.</dd>
            </div>
          ))}
        </dl>
      )}
      {now.meaning.length > 0 && <p>{inUnits(now.meaning.join(" "), units)}</p>}
      {said && <p role="status">{said}</p>}
      {found && !running && now.written && !said && <p class="quiet small">oven.toml has it.</p>}
      {found && !running && !now.written && (
        <button class="main" disabled={!resting} onClick={() => setWriting(true)}>Write this into the oven …</button>
      )}
      {writing && (
        <Asked
          title="Write this into the oven?"
          yes="Write it"
          busyWord="Writing …"
          what={async () => {
            const { sentence } = await post<{ sentence: string }>(`nights/${now.night_id}/survey/write`, {}, WRITES_MS);
            setSaid(sentence);
            setNow({ ...now, written: true });
          }}
          onClose={() => setWriting(false)}
        >
          <p>Loss, heat capacities, lags and the regulator's gains go into oven.toml. The old file stays beside it.</p>
        </Asked>
      )}
      {!running && (
        <button class="plain" disabled={!resting} onClick={() => setAsking(true)}>Test the oven …</button>
      )}
      {!resting && !running && <p class="quiet small">The oven is tested, and its file written, while no night runs.</p>}
      {asking && (
        <Asked
          title="Test the oven?"
          yes="Start heating"
          busyWord="Starting …"
          ready={confirmed}
          what={async () => setNow(await post<SurveyNow>("survey", { precision_pct, limit_device_confirmed: true }))}
          onClose={() => setAsking(false)}
        >
          <p>
            It heats and cools for some hours, empty or with the moulds, until the loss is known. Every
            interlock is active, and Stop ends it as any night. Stay with it.
          </p>
          <NumberField label="until the loss is known within" unit="%" range={[1, 50]} value={precision_pct} onChange={setPrecision} hint="1 to 50; 10 will do" />
          <CutOut checked={confirmed} onChange={setConfirmed} />
        </Asked>
      )}
    </section>
  );
}
