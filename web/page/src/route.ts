// Which screen: kept in the address, so that the phone's back button works.
import { useEffect, useState } from "preact/hooks";

export type Screen = "now" | "start" | "nights" | "oven";
export const SCREENS: readonly Screen[] = ["now", "start", "nights", "oven"];

export interface Route {
  screen: Screen;
  /** Nights opened: none, one, or two to compare. */
  nights: number[];
  /** What of the screen is opened, such as the oven's ruler; empty for the screen itself. */
  at: string;
}

export function parseRoute(hash: string): Route {
  const message = /^#(message-\d+)$/.exec(hash);
  if (message) return { screen: "oven", nights: [], at: message[1]! };
  const [name = "", rest = ""] = hash.replace(/^#/, "").split("/");
  const screen = SCREENS.find((s) => s === name) ?? "now";
  const nights = rest.split("+").map(Number).filter((n) => Number.isInteger(n) && n > 0);
  return { screen, nights: screen === "nights" ? nights.slice(0, 2) : [], at: rest };
}

export function useRoute(): Route {
  const [route, setRoute] = useState(() => parseRoute(location.hash));
  useEffect(() => {
    const follow = (): void => {
      setRoute(parseRoute(location.hash));
      window.scrollTo(0, 0);
    };
    window.addEventListener("hashchange", follow);
    return () => window.removeEventListener("hashchange", follow);
  }, []);
  return route;
}
