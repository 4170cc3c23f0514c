// Cautions, accepted once for an oven and readable ever after.
import { useEffect, useState } from "preact/hooks";
import { get, post, sentenceOf } from "../api";
import { Asked, Refusal } from "../sheet";
import type { Cautions as Told } from "../types";
import { day } from "../words";

export function useCautions(): { told: Told | null; failed: string; again: () => Promise<void> } {
  const [told, setTold] = useState<Told | null>(null);
  const [failed, setFailed] = useState("");
  const again = async (): Promise<void> => {
    try {
      setTold(await get<Told>("cautions"));
      setFailed("");
    } catch (error) {
      setFailed(sentenceOf(error));
    }
  };
  useEffect(() => void again(), []);
  return { told, failed, again };
}

interface Props {
  told: Told | null;
  failed: string;
  onAccepted: () => Promise<void>;
}

export function Cautions({ told, failed, onAccepted }: Props) {
  const [asked, setAsked] = useState(false);
  if (told === null) return <Refusal>{failed}</Refusal>;
  const { accepted } = told;
  return (
    <section class="cautions" aria-labelledby="cautions-title">
      <h2 id="cautions-title">Cautions</h2>
      {accepted === null ? (
        <>
          <p>Read them before the first night of this oven. They are accepted once.</p>
          <List told={told} />
          <button class="main" onClick={() => setAsked(true)}>I have read them …</button>
        </>
      ) : (
        <details>
          <summary>Accepted for this oven on {day(accepted.host_s)}; read them again</summary>
          <List told={told} />
        </details>
      )}
      {asked && (
        <Asked
          title="Accept the cautions?"
          yes="I accept them"
          what={async () => {
            await post("cautions/accept");
            await onAccepted();
          }}
          onClose={() => setAsked(false)}
        >
          <p>It is kept in the ledger that you have read them and that the oven is as they say.</p>
        </Asked>
      )}
    </section>
  );
}

const List = ({ told }: { told: Told }) => (
  <dl>
    {told.cautions.map((c) => (
      <div key={c.title}>
        <dt>{c.title}</dt>
        <dd>{c.text}</dd>
      </div>
    ))}
  </dl>
);
