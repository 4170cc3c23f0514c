// Resin cards of one's own: those there are, and a new one made from a data sheet, step by step.
import { useEffect, useState } from "preact/hooks";
import { get, remove, sentenceOf } from "../api";
import { Asked, Refusal } from "../sheet";
import type { CardOffer, Live } from "../types";
import { NewCard } from "./new-card";

export function Cards({ live }: { live: Live }) {
  const [cards, setCards] = useState<CardOffer[] | null>(null);
  const [failed, setFailed] = useState("");
  const [deleting, setDeleting] = useState<CardOffer | null>(null);
  const load = (): Promise<void> => get<CardOffer[]>("cards").then(setCards, (error: unknown) => setFailed(sentenceOf(error)));
  useEffect(() => void load(), []);
  const own = cards?.filter((c) => c.own) ?? [];
  return (
    <>
      <div class="column wide">
        <section class="stack" aria-labelledby="cards-title">
          <p><a href="#oven">The oven</a></p>
          <h2 id="cards-title" class="large-title">Resin cards</h2>
          <Refusal>{failed}</Refusal>
          <p class="quiet">The cards that ship stand for kinds of resin. One made from your data sheet, or from cups of your own resin, knows yours.</p>
          {own.length > 0 && (
            <ul class="list">
              {own.map((c) => (
                <li key={c.name}>
                  <span>{c.title} <small class="quiet">{c.name}</small></span>
                  <a class="button small" href={`api/cards/${c.name}/file`} download>Save as file</a>
                  <button class="small" aria-label={`Delete ${c.title}`} onClick={() => setDeleting(c)}>Delete …</button>
                </li>
              ))}
            </ul>
          )}
          {cards && own.length === 0 && <p>None of your own yet.</p>}
        </section>
        {cards && <NewCard cards={cards.filter((c) => !c.own)} cups={live.cups ?? []} units={live.units} onSaved={load} />}
      </div>
      {deleting && (
        <Asked
          title={`Delete '${deleting.title}'?`}
          yes="Delete"
          danger
          what={async () => {
            await remove(`cards/${deleting.name}`);
            await load();
          }}
          onClose={() => setDeleting(null)}
        >
          <p>Nights that ran with it keep its numbers.</p>
        </Asked>
      )}
    </>
  );
}
