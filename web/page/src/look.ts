// Dark or light: the person's choice on this phone, else the phone's. Runs before the first paint.

export type Look = "auto" | "dark" | "light";
export const LOOK_KEY = "nightcure.look";
const dark = window.matchMedia("(prefers-color-scheme: dark)");

/** Put the chosen look on the page; tells whoever draws by `look` on the document. */
export function applyLook(): void {
  let chosen: string | null = null;
  try {
    chosen = localStorage.getItem(LOOK_KEY);
  } catch {
    // no storage: the phone's look it is
  }
  const look = chosen === "dark" || chosen === "light" ? chosen : dark.matches ? "dark" : "light";
  if (document.documentElement.dataset.look === look) return;
  document.documentElement.dataset.look = look;
  const bar = document.querySelector('meta[name="theme-color"]');
  bar?.setAttribute("content", look === "dark" ? "#0d1b24" : "#eef2f1");
  document.dispatchEvent(new Event("look"));
}

applyLook();
dark.addEventListener("change", applyLook);
