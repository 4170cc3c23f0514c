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
interface Told extends Extendable {
  readonly data: { json(): Message } | null;
}
interface Tapped extends Extendable {
  readonly notification: Notification;
}
interface Message {
  id: number;
  kind: string;
  title: string;
  text: string;
  url: string;
}
interface Window {
  focus(): Promise<Window>;
  navigate(url: string): Promise<Window | null>;
}
interface Worker {
  addEventListener(type: "push", listener: (event: Told) => void): void;
  addEventListener(type: "notificationclick", listener: (event: Tapped) => void): void;
  readonly registration: { readonly scope: string; showNotification(title: string, how: object): Promise<void> };
  addEventListener(type: "install" | "activate", listener: (event: Extendable) => void): void;
  addEventListener(type: "fetch", listener: (event: Fetching) => void): void;
  skipWaiting(): Promise<void>;
  readonly clients: {
    claim(): Promise<void>;
    matchAll(which: object): Promise<Window[]>;
    openWindow(url: string): Promise<Window | null>;
  };
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

// A message while the page may be closed. A second copy of it replaces the first.
worker.addEventListener("push", (event) => {
  const m = event.data?.json();
  if (!m) return;
  const how = { body: m.text, tag: `message-${m.id}`, data: { url: m.url }, requireInteraction: m.kind === "trip" };
  event.waitUntil(worker.registration.showNotification(m.title, how));
});

worker.addEventListener("notificationclick", (event) => {
  event.notification.close();
  const told = String((event.notification.data as { url?: string }).url ?? "");
  // Of this page whatever the link's host: it was written by the oven's machine, this is its page.
  const url = worker.registration.scope + (told.includes("#") ? told.slice(told.indexOf("#")) : "");
  event.waitUntil(
    worker.clients.matchAll({ type: "window" }).then(async ([open]) => {
      if (!open) return worker.clients.openWindow(url);
      await open.navigate(url);
      return open.focus();
    }),
  );
});
