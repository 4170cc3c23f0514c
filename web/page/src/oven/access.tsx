// Who may steer: log in, log out here, log out everywhere.
import { logOut, useSession } from "../session";
import { LogIn, Refusal, useAsk } from "../sheet";

export function AccessCard() {
  const { session, failed } = useSession();
  const [busy, refusal, ask] = useAsk();
  return (
    <section class="access stack" aria-labelledby="access-title">
      <h2 id="access-title">Who may steer</h2>
      <Refusal>{failed?.message ?? refusal}</Refusal>
      {session?.has_passphrase === false && (
        <p>No passphrase is set, so this page takes no commands. Run <code>nightcure setup passphrase</code> on the oven's machine.</p>
      )}
      {session?.has_passphrase && !session.logged_in && (
        <>
          <p class="quiet">Everybody here may watch; who steers knows the passphrase.</p>
          <LogIn />
        </>
      )}
      {session?.logged_in && (
        <>
          <p>This browser is logged in.</p>
          <div class="row">
            <button class="plain" disabled={busy} onClick={() => ask(() => logOut(false))}>Log out</button>
            <button class="plain" disabled={busy} onClick={() => ask(() => logOut(true))}>Log out everywhere</button>
          </div>
        </>
      )}
    </section>
  );
}
