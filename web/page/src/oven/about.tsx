// What the thing cannot do, where somebody looks who has it in hand.

const CANNOT: readonly (readonly [string, string])[] = [
  ["Open a welded relay", "Only the contactor in series, the cut-out or the plug can. Fit them, and test them."],
  ["See what no thermometer sees", "A hot spot at the heater, a cable that chafes, a part without a thermometer."],
  ["Make vapour safe", "Styrene and acetone burn. No glowing wire and no spark in the box; wet parts gel and air first; peroxide never goes into the oven."],
  ["Promise a cure", "It holds temperatures and reckons with the resin's card. Touch the part before you pull it."],
  ["Watch while nobody can", "A message may not get through, and a phone may be off: link the smoke alarm to where you sleep, and nobody sleeps in, over or attached to the building."],
];

export const About = () => (
  <details class="fold">
    <summary>What it cannot do</summary>
    <dl class="cautions">
      {CANNOT.map(([what, why]) => (
        <div key={what}>
          <dt>{what}</dt>
          <dd>{why}</dd>
        </div>
      ))}
    </dl>
  </details>
);
