// Fingers, wheel and keys on the strip.
import { isWhole, panned, zoomed, type Span } from "./view";

export interface Sight {
  whole(): Span;
  get(): Span;
  set(span: Span): void;
  /** Show the values at this place, px from the left; null: the latest. */
  point(x: number | null): void;
  /** Which moment is at this place. */
  at(x: number): number;
}

/** Pinch zooms, a drag pans what is zoomed and else runs along the curves, the wheel zooms. */
export function listen(over: HTMLElement, focus: HTMLElement, sight: Sight): () => void {
  const fingers = new Map<number, number>();
  const place = (e: PointerEvent | WheelEvent): number => e.clientX - over.getBoundingClientRect().left;
  const seconds = (px: number): number => {
    const [a, b] = sight.get();
    return ((b - a) * px) / (over.clientWidth || 1);
  };

  const down = (e: PointerEvent): void => {
    if (e.pointerType === "mouse" && e.button !== 0) return;
    fingers.set(e.pointerId, place(e));
    over.setPointerCapture(e.pointerId);
    sight.point(place(e));
  };
  const move = (e: PointerEvent): void => {
    const before = fingers.get(e.pointerId);
    const now = place(e);
    if (before === undefined) {
      if (e.pointerType === "mouse") sight.point(now);
      return;
    }
    if (fingers.size === 2) {
      const other = [...fingers].find(([id]) => id !== e.pointerId)![1];
      const apart = Math.max(Math.abs(now - other), 12);
      const factor = Math.max(Math.abs(before - other), 12) / apart;
      const middle = sight.at((before + other) / 2);
      const shift = seconds((before - now) / 2);
      sight.set(panned(zoomed(sight.get(), sight.whole(), middle, factor), sight.whole(), shift));
    } else if (fingers.size === 1) {
      if (isWhole(sight.get(), sight.whole())) sight.point(now);
      else sight.set(panned(sight.get(), sight.whole(), seconds(before - now)));
    }
    fingers.set(e.pointerId, now);
  };
  const up = (e: PointerEvent): void => void fingers.delete(e.pointerId);
  const leave = (e: PointerEvent): void => {
    if (e.pointerType === "mouse") sight.point(null);
  };
  const wheel = (e: WheelEvent): void => {
    // Without the strip in focus a wheel scrolls the page.
    if (!e.ctrlKey && !focus.contains(document.activeElement)) return;
    e.preventDefault();
    sight.set(zoomed(sight.get(), sight.whole(), sight.at(place(e)), Math.exp(e.deltaY * 0.0015)));
  };
  const key = (e: KeyboardEvent): void => {
    if (e.target !== focus || e.ctrlKey || e.metaKey || e.altKey) return;
    const next = pressed(e.key, sight);
    if (next === null) return;
    e.preventDefault();
    sight.set(next);
  };

  const pointers = { pointerdown: down, pointermove: move, pointerup: up, pointercancel: up, pointerleave: leave };
  for (const [name, act] of Object.entries(pointers)) over.addEventListener(name, act as EventListener);
  over.addEventListener("wheel", wheel, { passive: false });
  focus.addEventListener("keydown", key);
  return () => focus.removeEventListener("keydown", key);
}

export function pressed(key: string, sight: Sight): Span | null {
  const [a, b] = sight.get();
  const whole = sight.whole();
  if (key === "+" || key === "=") return zoomed([a, b], whole, (a + b) / 2, 0.6);
  if (key === "-") return zoomed([a, b], whole, (a + b) / 2, 1 / 0.6);
  if (key === "ArrowLeft") return panned([a, b], whole, -(b - a) / 5);
  if (key === "ArrowRight") return panned([a, b], whole, (b - a) / 5);
  if (key === "Home" || key === "0") return whole;
  return null;
}
