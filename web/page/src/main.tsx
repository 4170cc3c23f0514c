// The page: what is true now, the night so far, and the few things a person may do.
import { render } from "preact";
import { useEffect, useState } from "preact/hooks";
import { get, type Alarm, type Happening, type Live } from "./api";
import { useLive } from "./live";
import { useNight } from "./night";
import { AcknowledgeSheet, ResetSheet, StartSheet, StopSheet } from "./sheets";
import { Strip } from "./strip";
import { duration, FAULTS, hour, PHASES, ROLES, temperature } from "./words";

type Open = { sheet: "start" | "stop" | "reset" } | { sheet: "acknowledge"; name: string } | null;

function Page() {
  const { live, age_s, stale } = useLive();
  const samples = useNight(live);
  const [open, setOpen] = useState<Open>(null);
  const close = (): void => setOpen(null);

  useEffect(() => {
    const air = live?.control_c ?? null;
    document.title = live === null || stale ? "nightcure" : `${temperature(air, live.units)}° ${PHASES[live.phase]}`;
  }, [live, stale]);

  if (live === null) {
    return (
      <main class="page waiting">
        <h1>nightcure</h1>
        <p class="quiet" role="status">Waiting for the controller's first word …</p>
      </main>
    );
  }
  const running = live.phase === "ramp" || live.phase === "soak" || live.phase === "cool";
  return (
    <>
      <main class={stale ? "page old" : "page"}>
        <header class="top">
          <h1>{live.oven}</h1>
          <p class="clock">
            {live.speed > 1 && <span class="demo">demo, {live.speed} × </span>}
            {hour(live.wall_s)}
          </p>
        </header>
        {stale && <Old age_s={age_s} />}
        <Alarms live={live} onOpen={setOpen} />
        <Now live={live} stale={stale} />
        <Strip samples={samples} live={live} />
        <Thermometers live={live} />
        <Happenings live={live} />
        <footer class="quiet">
          Not a safety device: an independent cut-out protects the oven. Local codes and licensed
          practice prevail. <a href="licences.txt">Licences</a>
        </footer>
      </main>
      <nav class="bar" aria-label="What you can do">
        {running ? (
          <button class="danger wide" onClick={() => setOpen({ sheet: "stop" })}>Stop</button>
        ) : live.trip ? (
          <button class="main wide" onClick={() => setOpen({ sheet: "reset" })}>Reset the trip …</button>
        ) : (
          <button class="main wide" disabled={stale} onClick={() => setOpen({ sheet: "start" })}>Start a night …</button>
        )}
      </nav>
      {open?.sheet === "stop" && <StopSheet onClose={close} />}
      {open?.sheet === "start" && <StartSheet live={live} onClose={close} />}
      {open?.sheet === "reset" && <ResetSheet live={live} onClose={close} />}
      {open?.sheet === "acknowledge" && <AcknowledgeSheet name={open.name} onClose={close} />}
    </>
  );
}

function Old({ age_s }: { age_s: number }) {
  return (
    <p class="oldness" role="alert">
      <b>Old data.</b> The controller's last word is {age_s < 90 ? `${Math.round(age_s)} s` : duration(age_s)} old;
      what is shown below is not now. If in doubt, pull the heater's plug.
    </p>
  );
}

function Now({ live, stale }: { live: Live; stale: boolean }) {
  const u = live.units;
  const parts = live.thermometers.filter((t) => t.role === "part" || t.role === "mould");
  const oldest = Math.max(...live.thermometers.map((t) => t.age_s));
  const heated = live.setpoint_c !== null;
  return (
    <section class="now" aria-label={stale ? "Last known" : "Now"}>
      <p class="phase">
        <b class={`word ${live.phase}`}>{PHASES[live.phase]}</b>
        {live.segment !== null && <span class="quiet">{live.segment + 1} of {live.segments}</span>}
      </p>
      <p class="next">{live.next}</p>
      <div class="figures">
        <p class="air">
          <span class="quiet">air{stale ? ", last known" : ""}</span>
          <span class="big" data-testid="air">{temperature(live.control_c, u)}<sup>°{u}</sup></span>
        </p>
        {heated && (
          <p class="setpoint">
            <span class="quiet">setpoint</span>
            <span class="middle" data-testid="setpoint">{temperature(live.setpoint_c, u)}°</span>
          </p>
        )}
      </div>
      <ul class="parts">
        {parts.map((t) => (
          <li key={t.id}>
            <span class="quiet">{t.name}</span>
            <span class="middle">{t.fault ? FAULTS[t.fault] ?? t.fault : `${temperature(t.value_c, u)}°`}</span>
          </li>
        ))}
      </ul>
      <dl class="facts">
        <div>
          <dt>heater</dt>
          <dd>
            <i class={live.heater ? "coal lit" : "coal"} aria-hidden="true" />
            {live.heater ? "on" : "off"}, {Math.round(live.duty * 100)} % duty of {live.power_w}&nbsp;W
          </dd>
        </div>
        {live.left_s !== null && live.ends_s !== null && (
          <div>
            <dt>ends</dt>
            <dd>{hour(live.ends_s)}, {duration(live.left_s)} left{live.waiting ? " at least" : ""}</dd>
          </div>
        )}
        <div>
          <dt>oldest reading</dt>
          <dd>{oldest.toFixed(0)} s</dd>
        </div>
      </dl>
    </section>
  );
}

function Alarms({ live, onOpen }: { live: Live; onOpen: (open: Open) => void }) {
  if (live.alarms.length === 0) return null;
  return (
    <section class="alarms" aria-label="Alarms" role="alert">
      {live.alarms.map((a) => (
        <article key={a.name} class={a.latching ? "alarm trip" : "alarm"}>
          <h2>{title(a)} <small>{hour(a.since_s)}, {a.state.replace("-", ", ")}</small></h2>
          <p>{a.message}</p>
          {(a.state === "unacknowledged" || a.state === "returned-unacknowledged") && (
            <button class="plain" onClick={() => onOpen({ sheet: "acknowledge", name: a.name })}>Acknowledge</button>
          )}
        </article>
      ))}
    </section>
  );
}

function title(a: Alarm): string {
  const words = a.name.split("-").join(" ");
  return `${a.latching ? "Trip" : "Warning"}: ${words}`;
}

function Thermometers({ live }: { live: Live }) {
  return (
    <section class="probes" aria-labelledby="probes-title">
      <h2 id="probes-title">Thermometers</h2>
      <ul>
        {live.thermometers.map((t) => (
          <li key={t.id} class={t.fault ? "bad" : ""}>
            <span>{t.name} <small class="quiet">{ROLES[t.role]}</small></span>
            <span>{t.fault ? FAULTS[t.fault] ?? t.fault : `${temperature(t.value_c, live.units)} °${live.units}`}</span>
          </li>
        ))}
      </ul>
    </section>
  );
}

function Happenings({ live }: { live: Live }) {
  const [list, setList] = useState<Happening[]>([]);
  const mark = `${live.night_id}|${live.phase}|${live.segment}|${live.alarms.map((a) => a.name + a.state).join()}`;
  useEffect(() => {
    const path = live.night_id === null ? "events?limit=1000" : `events?night_id=${live.night_id}&limit=1000`;
    get<Happening[]>(path).then((all) => setList(all.slice(-12).reverse()), () => undefined);
  }, [mark]);
  if (list.length === 0) return null;
  return (
    <section class="happenings" aria-labelledby="happenings-title">
      <h2 id="happenings-title">What happened</h2>
      <ol reversed>
        {list.map((e) => (
          <li key={e.id}><time>{hour(e.wall_s)}</time> {e.message}</li>
        ))}
      </ol>
    </section>
  );
}

render(<Page />, document.getElementById("page")!);
