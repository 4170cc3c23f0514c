// What slides up and asks: a dialog, a refusal, and the passphrase before what it guards.
import type { ComponentChildren } from "preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { sentenceOf } from "./api";
import { firstWrong } from "./fields";
import { logIn, useSession } from "./session";

interface SheetProps {
  title: string;
  onClose: () => void;
  children: ComponentChildren;
}

/**
 * A modal dialog. Escape is heeded at once: the browser tells of the close only later, when the
 * next sheet may be open already, and that one must stay.
 */
export function Sheet({ title, onClose, children }: SheetProps) {
  const dialog = useRef<HTMLDialogElement>(null);
  useEffect(() => {
    const asked = document.activeElement;
    const open = dialog.current;
    open?.showModal();
    open?.scrollTo(0, 0); // what has the focus may be far below
    return () => {
      open?.close(); // what lies under an open one takes no focus
      if (asked instanceof HTMLElement && asked.isConnected) asked.focus();
    };
  }, []);
  return (
    <dialog
      ref={dialog}
      class="sheet"
      aria-labelledby="sheet-title"
      onCancel={onClose}
      onClose={(event) => event.currentTarget.isConnected && onClose()}
    >
      <h2 id="sheet-title">{title}</h2>
      {children}
    </dialog>
  );
}

/** Given the focus as it appears in an open dialog; one that opens gives it to `autofocus`. */
const focusFirst = (element: HTMLElement | null): void => element?.focus();

/** Runs something that may be refused; keeps whether it is under way and the refusal's sentence. */
export function useAsk(): [boolean, string, (what: () => Promise<void>) => void] {
  const [busy, setBusy] = useState(false);
  const [refusal, setRefusal] = useState("");
  const ask = (what: () => Promise<void>): void => {
    setBusy(true);
    setRefusal("");
    what().then(
      () => setBusy(false),
      (error: unknown) => {
        setBusy(false);
        setRefusal(sentenceOf(error));
      },
    );
  };
  return [busy, refusal, ask];
}

export function Refusal({ children }: { children: ComponentChildren }) {
  return children ? <p class="refusal" role="alert">{children}</p> : null;
}

/** The passphrase, where this browser is not logged in; then what it guards. */
export function Gate({ onClose, children }: { onClose: () => void; children: ComponentChildren }) {
  const { session, failed } = useSession();
  if (session?.logged_in) return <>{children}</>;
  if (failed) return <Blocked sentence={failed.message} onClose={onClose} />;
  if (session === null) return <p class="quiet">One moment …</p>;
  if (!session.has_passphrase) return <Blocked sentence={NO_PASSPHRASE} onClose={onClose} />;
  return <LogIn onBack={onClose} />;
}

const NO_PASSPHRASE =
  "No passphrase is set for this oven, so the page takes no commands. Run nightcure setup passphrase on the oven's machine.";

function Blocked({ sentence, onClose }: { sentence: string; onClose: () => void }) {
  return (
    <>
      <Refusal>{sentence}</Refusal>
      <div class="choices">
        <button type="button" class="plain" onClick={onClose}>Back</button>
      </div>
    </>
  );
}

export function LogIn({ onBack, onDone }: { onBack?: () => void; onDone?: () => void }) {
  const [phrase, setPhrase] = useState("");
  const [busy, refusal, ask] = useAsk();
  return (
    <form
      class="stack"
      onSubmit={(event) => {
        event.preventDefault();
        ask(async () => {
          await logIn(phrase);
          onDone?.();
        });
      }}
    >
      <input type="text" name="username" autocomplete="username" value="oven" readOnly hidden />
      <label class="field">
        The oven's passphrase
        <input
          type="password"
          name="passphrase"
          autocomplete="current-password"
          value={phrase}
          onInput={(event) => setPhrase(event.currentTarget.value)}
          autofocus={onBack !== undefined}
          ref={onBack && focusFirst}
        />
      </label>
      <Refusal>{refusal}</Refusal>
      <div class="choices">
        {onBack && <button type="button" class="plain" onClick={onBack}>Back</button>}
        <button type="submit" class="main" disabled={busy || phrase === ""}>Log in</button>
      </div>
    </form>
  );
}

interface AskedProps {
  title: string;
  yes: string;
  no?: string;
  busyWord?: string;
  danger?: boolean;
  ready?: boolean;
  what: () => Promise<void>;
  onClose: () => void;
  children: ComponentChildren;
}

/** A question behind the passphrase: what it means, then yes or no; a refusal stays in sight. */
export function Asked({ title, yes, no = "Back", busyWord, danger, ready = true, what, onClose, children }: AskedProps) {
  const [busy, refusal, ask] = useAsk();
  return (
    <Sheet title={title} onClose={onClose}>
      <Gate onClose={onClose}>
        <form
          class="stack"
          onSubmit={(event) => {
            event.preventDefault();
            if (firstWrong(event.currentTarget)) return;
            ask(async () => {
              await what();
              onClose();
            });
          }}
        >
          {children}
          <Refusal>{refusal}</Refusal>
          <div class="choices">
            <button type="button" class="plain" onClick={onClose}>{no}</button>
            <button type="submit" class={danger ? "danger" : "main"} disabled={busy || !ready} autofocus={danger} ref={danger ? focusFirst : undefined}>
              {busy ? (busyWord ?? "One moment …") : yes}
            </button>
          </div>
        </form>
      </Gate>
    </Sheet>
  );
}
