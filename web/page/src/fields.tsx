// Fields to type in: numbers in the units this phone reads, times; and a share as a bar.
import { useLayoutEffect, useState } from "preact/hooks";

interface NumberProps {
  label: string;
  unit: string;
  value: number;
  /** Called with every number that can be read; nothing is called while the field holds none. */
  onChange: (value: number) => void;
  /** What the limits are, in words. */
  hint?: string;
  hidden?: boolean;
}

const shown = (value: number): string => String(+value.toFixed(2));

/** A number with its unit. The text stays the person's own while it is being typed. */
export function NumberField({ label, unit, value, onChange, hint, hidden }: NumberProps) {
  const [text, setText] = useState(() => shown(value));
  useLayoutEffect(() => {
    if (read(text) === null || Math.abs(read(text)! - value) > 0.006) setText(shown(value));
  }, [value]);
  const wrong = read(text) === null;
  return (
    <label class="number">
      <span class={hidden ? "sr" : ""}>{label}</span>
      <span class="with-unit">
        <input
          type="text"
          inputMode="decimal"
          autocomplete="off"
          value={text}
          aria-invalid={wrong}
          onInput={(event) => {
            const typed = event.currentTarget.value;
            setText(typed);
            const number = read(typed);
            if (number !== null) onChange(number);
          }}
          onBlur={() => wrong && setText(shown(value))}
        />
        <span class="unit">{unit}</span>
      </span>
      {hint && <small class="quiet">{hint}</small>}
    </label>
  );
}

/** A number as typed, with a comma or a point; null if it is none. */
export function read(text: string): number | null {
  const tidy = text.trim().replace(",", ".").replace("−", "-");
  return /^-?(\d+\.?\d*|\.\d+)$/.test(tidy) ? Number(tidy) : null;
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
  return (
    <label class="number">
      <span>{label}</span>
      <input type="time" required value={value} onInput={(e) => e.currentTarget.value && onChange(e.currentTarget.value)} />
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
