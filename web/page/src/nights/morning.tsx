// The morning: the verdict, what may be done next, what the parts feel like, and a photo.
import { useEffect, useState } from "preact/hooks";
import { get, put, sentenceOf, upload } from "../api";
import { read, refusal } from "../fields";
import { Asked, Refusal } from "../sheet";
import type { Live, Morning as Told, Night } from "../types";
import { inUnits } from "../words";
import { nightName } from "./fetch";
import { smaller } from "./shrink";

/** What the instrument's scale can show. */
const BARCOL = [0, 100] as const;
const FELT = ["tacky", "leathery", "hard"] as const;

/** A tap on a part: which, and what it felt like. */
interface Tapped {
  number: number;
  part: string;
  felt: (typeof FELT)[number];
}

export function Morning({ night, live }: { night: Night; live: Live }) {
  const path = `nights/${night.id}`;
  const [told, setTold] = useState<Told | null>(null);
  const [failed, setFailed] = useState("");
  const [tapped, setTapped] = useState<Tapped | null>(null);
  const [barcol, setBarcol] = useState("");
  const wrong = barcol.trim() ? refusal(barcol, BARCOL, "") : "";
  const tap = (what: Tapped): void => {
    setBarcol("");
    setTapped(what);
  };
  const [photo, setPhoto] = useState<File | null>(null);
  useEffect(() => {
    setTold(null);
    get<Told>(`${path}/morning`).then(setTold, (error: unknown) => setFailed(sentenceOf(error)));
  }, [path]);
  if (told === null) return <div class="morning full"><Refusal>{failed}</Refusal>{!failed && <p class="quiet" role="status">Reading the night …</p>}</div>;
  const said = inUnits(told.verdict, live.units);
  return (
    <section class="morning full stack" aria-labelledby="morning-title">
      <h2 id="morning-title" class="sr">The morning</h2>
      <p class={`verdict ${told.tone}`}>{said}</p>
      {told.parts.length > 0 && (
        <ul class="part-rows">
          {told.parts.map((p, i) => (
            <li key={p.part}>
              <p class="head"><b>{p.part}</b> <span class="quiet">{p.foretold}{p.found && `; found ${p.found}`}</span></p>
              <p>{inUnits(p.sentence, live.units)}</p>
              <div class="row touch" role="group" aria-label={`${p.part} feels`}>
                <span class="quiet">Touch it:</span>
                {FELT.map((felt) => (
                  <button key={felt} class={p.found.startsWith(felt) ? "small chosen" : "small"} aria-pressed={p.found.startsWith(felt)} onClick={() => tap({ number: i + 1, part: p.part, felt })}>
                    {felt}
                  </button>
                ))}
              </div>
            </li>
          ))}
        </ul>
      )}
      {told.photo && <img class="photo" src={`api/${path}/photo?${told.photo.slice(0, 8)}`} alt={`The photo of ${nightName(night)}`} />}
      <div class="row record">
        <a class="button" href={`api/${path}/record`} target="_blank">Morning record</a>
        <a class="button" href={`api/${path}/record`} download={`night-${night.id}.html`}>Save it</a>
        {told.pdf && <a class="button" href={`api/${path}/record.pdf`} download><span class="sr">The record as </span>PDF</a>}
        <a class="button" href={`api/${path}/export.csv`} download><span class="sr">All readings as </span>CSV</a>
        <label class="button">
          {told.photo ? "Another photo …" : "Photo of the part …"}
          <input class="sr" type="file" accept="image/*" onChange={(e) => setPhoto(e.currentTarget.files?.[0] ?? null)} />
        </label>
        {"share" in navigator && <button class="plain" onClick={() => void share(night, said, told)}>Share</button>}
        <button class="plain" onClick={() => window.print()}>Print</button>
      </div>
      {tapped && (
        <Asked
          title={`${tapped.part} is ${tapped.felt}?`}
          yes={`It is ${tapped.felt}`}
          what={async () => setTold(await put<Told>(`${path}/touch/${tapped.number}`, { felt: tapped.felt, barcol: barcol.trim() ? read(barcol) : null }))}
          onClose={() => setTapped(null)}
        >
          <p>It is kept beside what was foretold, and stands in the record.</p>
          <label class="field">
            Barcol, if you have one
            <input type="text" inputMode="decimal" autocomplete="off" value={barcol} aria-invalid={wrong !== ""} onInput={(e) => setBarcol(e.currentTarget.value)} />
            {wrong && <small class="refusal">{wrong}</small>}
          </label>
        </Asked>
      )}
      {photo && (
        <Asked
          title="Keep this photo?"
          yes="Keep it"
          busyWord="Sending …"
          what={async () => setTold(await upload<Told>(`${path}/photo`, await smaller(photo)))}
          onClose={() => setPhoto(null)}
        >
          <p>{photo.name}: it is made smaller, what the camera wrote into it (such as the place) is left out, and it is kept with the night.</p>
        </Asked>
      )}
    </section>
  );
}

/** The record as a file where this phone can share one, else its words. */
async function share(night: Night, verdict: string, told: Told): Promise<void> {
  const title = nightName(night);
  const text = [verdict, ...told.parts.map((p) => `${p.part}: ${p.sentence}`)].join("\n");
  try {
    const answer = await fetch(`api/nights/${night.id}/record`);
    const file = new File([await answer.blob()], `night-${night.id}.html`, { type: "text/html" });
    const files = navigator.canShare?.({ files: [file] }) ? [file] : undefined;
    await navigator.share(files ? { title, text, files } : { title, text });
  } catch {
    // the person thought better of it
  }
}
