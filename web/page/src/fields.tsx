// Fields to type in: numbers in the units this phone reads, times; and a share as a bar.
import { useId, useLayoutEffect, useRef, useState } from "preact/hooks";
import { plain } from "./words";

interface NumberProps {
  label: string;
  unit: string;
  value: number;
  /** Called with every number that may be; nothing is called while the field holds none. */
  onChange: (value: number) => void;
  /** The least and the most that may be typed. */
  range: readonly [number, number];
  hint?: string;
  /** What it is, where the label says less. */
  about?: string;
}

const shown = (value: number): string => String(+value.toFixed(2));
const told = (value: number): string => plain(value, 2);

/** A number with its unit. The text stays the person's own; what cannot be is refused below it. */
export function NumberField({ label, unit, value, onChange, range, hint, about }: NumberProps) {
  const [text, setText] = useState(() => shown(value));
  const given = useRef(value);
  useLayoutEffect(() => {
    if (Math.abs(given.current - value) > 0.006) setText(shown(value));
    given.current = value;
  }, [value]);
  const wrong = refusal(text, range, unit);
  const id = useId();
  return (
    <div class="number">
      <label for={id}>{about && <span class="sr">{about}, </span>}{label}</label>
      <span class="with-unit">
        <input
          id={id}
          type="text"
          inputMode="decimal"
          autocomplete="off"
          value={text}
          aria-invalid={wrong !== ""}
          aria-describedby={wrong ? `${id}-wrong` : undefined}
          onInput={(event) => {
            const typed = event.currentTarget.value;
            setText(typed);
            if (refusal(typed, range, unit) !== "") return;
            given.current = read(typed, unit)!;
            onChange(given.current);
          }}
        />
        <span class="unit">{unit}</span>
      </span>
      {wrong && <small class="refusal" id={`${id}-wrong`}>{wrong}</small>}
      {hint && <small class="quiet">{hint}</small>}
    </div>
  );
}

/** Why a text is no number that may be here; empty where it is one. */
export function refusal(text: string, [least, most]: readonly [number, number], unit: string): string {
  const number = read(text, unit);
  const typed = text.trim().length > 20 ? `${text.trim().slice(0, 20)}…` : text.trim();
  const span = `${told(least)} to ${told(most)}${unit && ` ${unit}`}`;
  if (text.trim() === "") return `Type a number, ${span}.`;
  if (number === null) return `“${typed}” is no number: ${span}.`;
  if (number < least - 1e-6 || number > most + 1e-6) return `${typed.replace("-", "−")} is out of range: ${span}.`;
  return "";
}

/** The first field within that holds what cannot be; it takes the focus. Null where all are right. */
export function firstWrong(within: ParentNode): HTMLElement | null {
  const field = within.querySelector<HTMLElement>("[aria-invalid=true]");
  field?.closest("details:not([open])")?.setAttribute("open", "");
  field?.focus();
  return field;
}

/** A number as typed, with a comma or a point, and with its unit or without; null if it is none. */
export function read(text: string, unit = ""): number | null {
  let tidy = text.trim().replace(",", ".").replace(/^[−–]/, "-");
  const end = [unit, unit.replace("°", "")].find((u) => u && tidy.toLowerCase().endsWith(u.toLowerCase()));
  if (end) tidy = tidy.slice(0, -end.length).trim();
  return /^[-+]?(\d+\.?\d*|\.\d+)$/.test(tidy) ? Number(tidy) : null;
}

interface ChoiceProps<T extends string> {
  legend: string;
  value: T;
  options: readonly (readonly [T, string])[];
  onChange: (value: T) => void;
}

/** One of a few. */
export function Choice<T extends string>({ legend, value, options, onChange }: ChoiceProps<T>) {
  return (
    <fieldset class="choice">
      <legend>{legend}</legend>
      <div class="row">
        {options.map(([option, word]) => (
          <label key={option} class={option === value ? "pill chosen" : "pill"}>
            <input type="radio" name={legend} checked={option === value} onChange={() => onChange(option)} />
            {word}
          </label>
        ))}
      </div>
    </fieldset>
  );
}

interface TickProps {
  checked: boolean;
  onChange: (checked: boolean) => void;
  children: string;
}

export function Tick({ checked, onChange, children }: TickProps) {
  return (
    <label class="check">
      <input type="checkbox" checked={checked} onChange={(e) => onChange(e.currentTarget.checked)} />
      <span>{children}</span>
    </label>
  );
}

/** What a person says before anything heats. */
export const CutOut = (props: Omit<TickProps, "children">) => (
  <Tick {...props}>
    An independent over-temperature cut-out with manual reset is in the heater's circuit, and it was tested.
  </Tick>
);

interface TimeProps {
  label: string;
  /** h:mm. */
  value: string;
  onChange: (value: string) => void;
}

/** A time of day. */
export function TimeField({ label, value, onChange }: TimeProps) {
  const [empty, setEmpty] = useState(false);
  return (
    <label class="number">
      <span>{label}</span>
      <input
        type="time"
        value={value}
        aria-invalid={empty}
        onInput={(e) => {
          const typed = e.currentTarget.value;
          setEmpty(typed === "");
          if (typed) onChange(typed);
        }}
      />
      {empty && <small class="refusal">Type a time, such as 08:00.</small>}
    </label>
  );
}

/** A share as a bar, coloured by how well that is; the words beside it say the same. */
export function Meter({ pct, level }: { pct: number; level: "" | "some" | "much" }) {
  return (
    <div class={`meter ${level}`} aria-hidden="true">
      <svg width="100%" height="10"><rect width={`${Math.min(pct, 100)}%`} height="10" rx="3" /></svg>
    </div>
  );
}
