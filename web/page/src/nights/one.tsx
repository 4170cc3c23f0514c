// One night opened: its strip, its figures, its notes, what happened and who asked for it.
import { useEffect, useState } from "preact/hooks";
import { get } from "../api";
import { EventList } from "../now/happenings";
import { Refusal } from "../sheet";
import { inWords } from "../start/profile-choice";
import { NightStrip } from "../strip/night-strip";
import type { Happening, Live } from "../types";
import { day, hour, OUTCOMES } from "../words";
import { FigureTable } from "./figure-table";
import { nightName, useRecorded } from "./fetch";
import { Morning } from "./morning";
import { figuresOf } from "./night-figures";
import { NotesForm } from "./notes";

export function OneNight({ id, live }: { id: number; live: Live }) {
  const { recorded, failed, change } = useRecorded([id]);
  const [events, setEvents] = useState<Happening[]>([]);
  useEffect(() => {
    get<Happening[]>(`events?night_id=${id}&limit=1000`).then(setEvents, () => undefined);
  }, [id]);
  if (failed) return <Refusal>{failed}</Refusal>;
  const one = recorded?.[0];
  if (!one) return <p class="quiet" role="status">Reading the night …</p>;
  const { night, samples } = one;
  const first_c = samples.control_c[0] ?? 10;
  return (
    <>
      <section class="about full" aria-labelledby="night-title">
        <p><a href="#nights">All nights</a></p>
        <h2 id="night-title" class="large-title">{nightName(night)}</h2>
        <p class="quiet">
          {day(night.started_s)}, {hour(night.started_s)}
          {night.ended_s !== null && ` to ${hour(night.ended_s)}`}: '{night.profile.name}'{" "}
          {night.outcome === null ? "is running" : (OUTCOMES[night.outcome] ?? night.outcome)}.
        </p>
      </section>
      {night.outcome !== null && <Morning night={night} live={live} />}
      <section class="strip full" aria-labelledby="strip-title">
        <h2 id="strip-title">The night's course</h2>
        <p class="quiet small">{inWords(night.profile, first_c, live.units)}</p>
        {samples.seq.length === 0 ? (
          <p class="quiet">Nothing was recorded.</p>
        ) : (
          <NightStrip samples={samples} live={live} thermometers={night.thermometers} />
        )}
      </section>
      <div class="column">
        <section aria-labelledby="figures-title">
          <h2 id="figures-title">Figures</h2>
          <div class="scroll">
            <FigureTable
              units={live.units}
              columns={[{ title: nightName(night), figures: figuresOf(samples, night.thermometers), power_w: night.power_w }]}
            />
          </div>
        </section>
        <NotesForm key={night.id} night={night} onChange={change} />
      </div>
      <section class="happenings" aria-labelledby="happenings-title">
        <h2 id="happenings-title">What happened, and who asked</h2>
        <EventList events={[...events].reverse()} live={live} />
      </section>
    </>
  );
}
