// What is fetched when it is first opened, so that the page itself is small.
import type { ComponentType } from "preact";
import { useEffect, useState } from "preact/hooks";
import { Refusal } from "./sheet";

type Fetched<P> = ((props: P) => preact.JSX.Element) & { fetch: () => void };

/** A component in a file of its own; `fetch` has it come before it is asked for. `place` is the class of
 *  what keeps its place until it has come. */
export function later<P extends object>(load: () => Promise<ComponentType<P>>, place = "awaited"): Fetched<P> {
  let There: ComponentType<P> | null = null;
  let coming: Promise<void> | null = null;
  const come = (): Promise<void> =>
    (coming ??= load().then(
      (found) => void (There = found),
      (error: unknown) => {
        coming = null; // the next time it is opened it is tried again
        throw error;
      },
    ));
  function Later(props: P) {
    const [, setThere] = useState(false);
    const [failed, setFailed] = useState(false);
    useEffect(() => {
      if (There === null) come().then(() => setThere(true), () => setFailed(true));
    }, []);
    if (There !== null) return <There {...props} />;
    if (!failed) return <p class={`quiet ${place}`} role="status">One moment …</p>;
    return (
      <section class="stack">
        <Refusal>This part of the page cannot be fetched: its server is away, or the page is older than its server.</Refusal>
        <button class="plain" onClick={() => location.reload()}>Load the page anew</button>
      </section>
    );
  }
  return Object.assign(Later, { fetch: () => void come().catch(() => undefined) });
}
