// A night's label and what a person noted of it.
import { useEffect, useState } from "preact/hooks";
import { get, patch, put, sentenceOf } from "../api";
import { firstWrong, refusal } from "../fields";
import { useKept } from "../kept";
import { Asked, Refusal } from "../sheet";
import type { Night, Noted, Notes } from "../types";
import { day, hour } from "../words";

const WEIGHED = "catalyst_weighed_g";
const FIELDS: readonly (readonly [string, string])[] = [
  ["mould_number", "Mould number"],
  ["part_number", "Part number"],
  ["made_by", "Made by"],
  ["resin_batch", "Resin batch"],
  [WEIGHED, "Catalyst weighed, g"],
  ["remarks", "Remarks"],
];

const tidy = (told: Partial<Noted>): Notes =>
  Object.fromEntries(FIELDS.map(([field]) => [field, String(told[field] ?? "")]));

export function NotesForm({ night, onChange }: { night: Night; onChange: (night: Night) => void }) {
  const own = `night ${night.id} ${night.started_s}.`;
  const [relabelled, setLabel] = useKept<string | null>(`${own}label`, null);
  const label = relabelled ?? night.label;
  /** What the night's record has; null until it is known, and then nothing can be written over it. */
  const [kept, setKept] = useState<Notes | null>(null);
  const [typed, setTyped] = useKept<Notes>(`${own}typed`, {});
  const [last, setLast] = useState<Noted["last"]>(null);
  const [failed, setFailed] = useState("");
  const [saving, setSaving] = useState(false);
  const show = (told: Noted): void => {
    setKept(tidy(told));
    setLast(told.last);
  };
  useEffect(() => {
    get<Noted>(`nights/${night.id}/notes`).then(show, (error: unknown) => setFailed(sentenceOf(error)));
  }, [night.id]);
  const notes: Notes = { ...(kept ?? tidy({})), ...typed };
  const type = (field: string, text: string): void => setTyped((before) => ({ ...before, [field]: text }));
  const renoted = kept !== null && FIELDS.some(([f]) => notes[f] !== kept[f]);
  const unknown = kept === null && Object.keys(typed).length > 0;
  const changed = renoted || (label !== night.label && !unknown);
  const save = async (): Promise<void> => {
    if (label !== night.label) {
      await patch(`nights/${night.id}`, { label });
      onChange({ ...night, label });
      setLabel(null);
    }
    if (renoted) {
      show(await put<Noted>(`nights/${night.id}/notes`, notes));
      setTyped({});
    }
  };
  return (
    <section class="notes" aria-labelledby="notes-title">
      <h2 id="notes-title">Notes</h2>
      <Refusal>{failed}</Refusal>
      <form
        class="fields"
        onSubmit={(e) => {
          e.preventDefault();
          if (!firstWrong(e.currentTarget)) setSaving(true);
        }}
      >
        <label class="field">
          Label
          <input type="text" autocomplete="off" maxLength={80} value={label} onInput={(e) => setLabel(e.currentTarget.value)} />
        </label>
        {FIELDS.map(([field, word]) => {
          const wrong = field === WEIGHED && notes[field] ? refusal(notes[field].replace(/ ?g$/, ""), [0, 10_000], "g") : "";
          return (
          <label class={field === "remarks" ? "field broad" : "field"} key={field}>
            {word}
            {field === "remarks" ? (
              <textarea rows={3} value={notes[field]} onInput={(e) => type(field, e.currentTarget.value)} />
            ) : (
              <input
                type="text"
                autocomplete="off"
                inputMode={field === WEIGHED ? "decimal" : "text"}
                value={notes[field]}
                aria-invalid={wrong !== ""}
                onInput={(e) => type(field, e.currentTarget.value)}
              />
            )}
            {wrong && <small class="refusal">{wrong}</small>}
          </label>
          );
        })}
        {last && <p class="quiet small broad">Last written {day(last.host_s)}, {hour(last.host_s)}, {last.who}.</p>}
        <button class="plain" disabled={!changed}>Save the notes …</button>
      </form>
      {saving && (
        <Asked title="Save the notes?" yes="Save" what={save} onClose={() => setSaving(false)}>
          <p>They stand in the night's record; the hour and who wrote them are kept, too.</p>
        </Asked>
      )}
    </section>
  );
}
