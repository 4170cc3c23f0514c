// Who is told, whether that works, what was told last; and this browser among them.
import { useEffect, useState } from "preact/hooks";
import { get, post, Refused, sentenceOf } from "../api";
import { Asked, Refusal } from "../sheet";
import { useTelling } from "../telling";
import type { Live, Push, Telling } from "../types";
import { day, hour, inUnits } from "../words";

const SHOWN = 6;

export function Messages() {
  const telling = useTelling();
  if (telling === null) return null;
  return (
    <section class="messages stack" aria-labelledby="messages-title">
      <h2 id="messages-title">Who is told</h2>
      {telling.seen_s === null && <p>Nobody: no notifier is installed. It sends trips and milestones to your phone.</p>}
      {telling.seen_s !== null && !telling.runs && (
        <p class="refusal">The notifier was seen last {day(telling.seen_s)}, {hour(telling.seen_s)}: nobody is told now.</p>
      )}
      {telling.services.length > 0 && (
        <ul class="list">
          {telling.services.map((s) => (
            <li key={s.name} class={s.failing_s === null ? "" : "bad"}>
              <span>
                {s.name}
                <br />
                <small class="quiet">
                  {s.failing_s === null ? "Works" : `Fails since ${day(s.failing_s)}, ${hour(s.failing_s)}`}
                  {s.sent_s === null ? ", has taken none yet" : `, took the last one ${day(s.sent_s)}, ${hour(s.sent_s)}`}
                  {s.waiting > 0 && `; ${s.waiting} wait`}. {s.failing_s !== null && s.sentence}
                </small>
              </span>
            </li>
          ))}
        </ul>
      )}
      <ThisBrowser />
      {telling.messages.length > 0 && (
        <details class="fold">
          <summary>What was told last</summary>
          <ol class="events">
            {telling.messages.slice(0, SHOWN).map((m) => (
              <li key={m.id}>
                <time>{day(m.at_s)}, {hour(m.at_s)}</time> <span><a href={`#message-${m.id}`}>{m.title}</a></span>
              </li>
            ))}
          </ol>
        </details>
      )}
    </section>
  );
}

/** One message, opened from its link; what is not there any more leads to the night. */
export function Message({ id, live }: { id: number; live: Live }) {
  const [telling, setTelling] = useState<Telling | null>(null);
  const [failed, setFailed] = useState("");
  useEffect(() => {
    get<Telling>("notifications").then(setTelling, (error: unknown) => setFailed(sentenceOf(error)));
  }, [id]);
  const message = telling?.messages.find((m) => m.id === id);
  useEffect(() => {
    if (telling !== null && message === undefined) location.replace("#now");
  }, [telling]);
  return (
    <section class="full stack" aria-labelledby="message-title">
      <Refusal>{failed}</Refusal>
      {message && (
        <>
          <p><a href="#now">How it is now</a></p>
          <h2 id="message-title" class="large-title">{message.title}</h2>
          <p class="quiet">{day(message.at_s)}, {hour(message.at_s)}</p>
          <p>{inUnits(message.text, live.units)}</p>
        </>
      )}
    </section>
  );
}

/** The page's key as a browser takes it. */
function bytesOf(base64url: string): Uint8Array<ArrayBuffer> {
  const text = atob(base64url.replace(/-/g, "+").replace(/_/g, "/"));
  return Uint8Array.from(text, (c) => c.charCodeAt(0));
}

function ThisBrowser() {
  const [push, setPush] = useState<Push | null>(null);
  const [told, setTold] = useState<boolean | null>(null);
  const [asking, setAsking] = useState(false);
  useEffect(() => {
    get<Push>("push").then(setPush, () => undefined);
    void navigator.serviceWorker?.getRegistration().then(async (r) => setTold((await r?.pushManager?.getSubscription()) != null), () => setTold(false));
  }, []);
  if (push === null) return null;
  if (!push.possible) return <p class="quiet small">{push.why_not}</p>;
  if (!("serviceWorker" in navigator) || !("PushManager" in window)) return <p class="quiet small">This browser takes no messages from pages.</p>;
  const change = async (): Promise<void> => {
    const registration = await navigator.serviceWorker.ready;
    const before = await registration.pushManager.getSubscription();
    if (before) {
      await post("push/leave", { endpoint: before.endpoint });
      await before.unsubscribe();
      return setTold(false);
    }
    if ((await Notification.requestPermission()) !== "granted") throw new Refused(0, "This browser may not show messages of this page; allow it in its settings.");
    const { endpoint, keys } = (await registration.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: bytesOf(push.key!) })).toJSON();
    await post("push", { endpoint, keys });
    setTold(true);
  };
  return (
    <>
      <button class="plain" onClick={() => setAsking(true)}>{told ? "Tell this browser no more …" : "Tell this browser …"}</button>
      {asking && (
        <Asked title={told ? "Tell this browser no more?" : "Tell this browser?"} yes={told ? "No more" : "Tell it"} what={change} onClose={() => setAsking(false)}>
          <p>{told ? "It gets no more messages of this oven." : "Trips, milestones and the night's end come to it, also while the page is closed. The browser asks once whether it may."}</p>
        </Asked>
      )}
    </>
  );
}
