// Whether this browser is logged in: one answer for the whole page.
import { useEffect, useState } from "preact/hooks";
import { get, post } from "./api";

export interface Session {
  logged_in: boolean;
  has_passphrase: boolean;
}

let session: Session | null = null;
const listeners = new Set<() => void>();

function tell(now: Session): void {
  session = now;
  listeners.forEach((listener) => listener());
}

export async function ask(): Promise<void> {
  tell(await get<Session>("session"));
}

export async function logIn(passphrase: string): Promise<void> {
  await post("login", { passphrase });
  await ask();
}

/** Log out, and begin anew: a page for those with the passphrase has nothing left to show. */
export async function logOut(everywhere: boolean): Promise<void> {
  await post(everywhere ? "logout-everywhere" : "logout");
  location.reload();
}

/** The session, asked for afresh; null until known. */
export function useSession(): { session: Session | null; failed: Error | null } {
  const [now, setNow] = useState(session);
  const [failed, setFailed] = useState<Error | null>(null);
  useEffect(() => {
    const listener = (): void => setNow(session);
    listeners.add(listener);
    ask().catch(setFailed);
    return () => void listeners.delete(listener);
  }, []);
  return { session: now, failed };
}
