// The box as it was understood: a body seen from the front, or its panels by their areas.
import type { Ruled } from "../types";
import { plain } from "../words";

const WIDTH = 320;
const HEIGHT = 200;
/** Room for the labels round the body. */
const EDGE = 34;
/** How the length goes back: to the right and up, shortened. */
const BACK = [0.5, 0.28] as const;

type Point = readonly [number, number];

export function BoxSketch({ ruled }: { ruled: Ruled }) {
  if (ruled.outline_m.length === 0) return <Areas ruled={ruled} />;
  const front = ruled.outline_m.map(([x, y]): Point => [x!, y!]);
  const back = front.map(([x, y]): Point => [x + ruled.length_m * BACK[0], y + ruled.length_m * BACK[1]]);
  const all = [...front, ...back];
  const xs = all.map(([x]) => x);
  const ys = all.map(([, y]) => y);
  const scale = Math.min((WIDTH - 2 * EDGE) / (Math.max(...xs) - Math.min(...xs)), (HEIGHT - 2 * EDGE) / (Math.max(...ys) - Math.min(...ys)));
  const at = ([x, y]: Point): Point => [EDGE + (x - Math.min(...xs)) * scale, HEIGHT - EDGE - (y - Math.min(...ys)) * scale];
  const line = (points: Point[]): string => points.map((p) => at(p).map((n) => n.toFixed(1)).join(",")).join(" ");
  const middle: Point = [front.reduce((s, [x]) => s + x, 0) / front.length, front.reduce((s, [, y]) => s + y, 0) / front.length];
  const from = at(front[front.length > 3 ? 1 : 1]!);
  const to = at(back[1]!);
  return (
    <svg class="sketch" viewBox={`0 0 ${WIDTH} ${HEIGHT}`} role="img" aria-label={`A body of ${front.length} panels and two ends, ${plain(ruled.length_m, 2)} m long`}>
      <polygon class="hidden-edge" points={line(back)} />
      {front.map((p, i) => <polyline key={i} points={line([p, back[i]!])} />)}
      <polygon class="front" points={line(front)} />
      {front.map((p, i) => {
        const next = front[(i + 1) % front.length]!;
        const half: Point = [(p[0] + next[0]) / 2, (p[1] + next[1]) / 2];
        const [x, y] = at(half);
        const [mx, my] = at(middle);
        const away = Math.hypot(x - mx, y - my) || 1;
        const wide = Math.hypot(next[0] - p[0], next[1] - p[1]);
        return front.length <= 8 && <text key={i} x={x - ((x - mx) / away) * 14} y={y - ((y - my) / away) * 14 + 4} text-anchor="middle">{plain(wide, 2)}</text>;
      })}
      <text x={(from[0] + to[0]) / 2 + 8} y={(from[1] + to[1]) / 2 + 14}>{plain(ruled.length_m, 2)} m</text>
    </svg>
  );
}

function Areas({ ruled }: { ruled: Ruled }) {
  const largest = Math.max(...ruled.faces.map((f) => f.area_m2));
  return (
    <ul class="areas">
      {ruled.faces.map((f, i) => (
        <li key={i}>
          <span>{f.name}, {plain(f.area_m2, 2)} m²</span>
          <svg width="100%" height="10" aria-hidden="true"><rect width={`${(100 * f.area_m2) / largest}%`} height="10" /></svg>
        </li>
      ))}
    </ul>
  );
}
