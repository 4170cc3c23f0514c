// How to ask the API, and what its refusals say.

/** A refusal of the server: its status and the sentence for the person. */
export class Refused extends Error {
  constructor(
    readonly status: number,
    message: string,
  ) {
    super(message);
  }
}

const GONE = "The page's server does not answer. If the oven must be off now, pull the heater's plug.";
const WAIT_MS = 15_000;

async function answer<T>(response: Response): Promise<T> {
  if (response.ok) return (response.status === 204 ? undefined : await response.json()) as T;
  let sentence = `The server answered ${response.status}.`;
  try {
    sentence = ((await response.json()) as { detail?: string }).detail ?? sentence;
  } catch {
    // no problem document: the status must do
  }
  throw new Refused(response.status, sentence);
}

async function ask<T>(path: string, init: RequestInit, wait_ms = WAIT_MS): Promise<T> {
  const patience = new AbortController();
  const timer = window.setTimeout(() => patience.abort(), wait_ms);
  try {
    return await answer<T>(await fetch(`api/${path}`, { ...init, signal: patience.signal }));
  } catch (error) {
    throw error instanceof Refused ? error : new Refused(0, GONE);
  } finally {
    window.clearTimeout(timer);
  }
}

function sending(method: string) {
  return <T>(path: string, body: unknown = {}, wait_ms = WAIT_MS): Promise<T> => {
    const headers = { "Content-Type": "application/json" };
    return ask<T>(path, { method, headers, body: JSON.stringify(body) }, wait_ms);
  };
}

export const get = <T>(path: string, wait_ms = WAIT_MS): Promise<T> => ask<T>(path, {}, wait_ms);
export const post = sending("POST");
export const put = sending("PUT");
export const patch = sending("PATCH");
export const remove = sending("DELETE");
/** A picture, as it is. */
export const upload = <T>(path: string, body: Blob): Promise<T> =>
  ask<T>(path, { method: "PUT", headers: { "Content-Type": "image/jpeg" }, body }, 60_000);

/** The sentence to show for whatever went wrong. */
export const sentenceOf = (error: unknown): string =>
  error instanceof Refused ? error.message : `The page made a mistake: ${String(error)}`;
