// Keeps the page's shell for when its server is away. The API is never kept: an old temperature is
// never shown as new.
declare const BUILD: string;
declare const SHELL: string[];

const KEPT = `nightcure-${BUILD}`;
/** So long the server has before the kept shell is shown, ms. */
const PATIENCE_MS = 4000;

interface Extendable extends Event {
  waitUntil(what: Promise<unknown>): void;
}
interface Fetching extends Extendable {
  readonly request: Request;
  respondWith(what: Promise<Response>): void;
}
interface Worker {
  addEventListener(type: "install" | "activate", listener: (event: Extendable) => void): void;
  addEventListener(type: "fetch", listener: (event: Fetching) => void): void;
  skipWaiting(): Promise<void>;
  readonly clients: { claim(): Promise<void> };
}
const worker = self as unknown as Worker;

worker.addEventListener("install", (event) => {
  event.waitUntil(
    caches
      .open(KEPT)
      .then((kept) => kept.addAll(SHELL))
      .then(() => worker.skipWaiting()),
  );
});

worker.addEventListener("activate", (event) => {
  const old = caches
    .keys()
    .then((names) => Promise.all(names.filter((n) => n !== KEPT).map((n) => caches.delete(n))));
  event.waitUntil(old.then(() => worker.clients.claim()));
});

worker.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  const path = url.pathname.slice(1) || "./";
  if (request.method !== "GET" || url.origin !== location.origin || !SHELL.includes(path)) return;
  event.respondWith(fresh(request, path));
});

/** The server's answer; the kept one where it gives none. */
async function fresh(request: Request, path: string): Promise<Response> {
  const patience = new AbortController();
  const timer = setTimeout(() => patience.abort(), PATIENCE_MS);
  try {
    return await fetch(request.url, { cache: "no-cache", signal: patience.signal });
  } catch (error) {
    const kept = await (await caches.open(KEPT)).match(path);
    if (kept === undefined) throw error;
    return kept;
  } finally {
    clearTimeout(timer);
  }
}
