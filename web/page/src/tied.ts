// A number stays on one line with its unit: on every screen, whoever wrote the sentence.
import { options, type VNode } from "preact";

const UNITS = "°[CF]?|%|K|[kM]?W|[kM]?Wh|[kM]?J|h|min|s|[mck]?m[²³]?|k?g|l|ml|ppm";
/** The number may stand in an element of its own: then its unit begins a text. */
const BEFORE_UNIT = new RegExp(`(^|\\d) (?=(?:${UNITS})(?![\\w'’]))`, "g");
/** Hours and minutes are one length. */
const HOURS = /(\d\u00a0h) (?=\d+\u00a0min)/g;

/** The text with no-break spaces between numbers and their units. */
export const tied = (text: string): string =>
  text.includes(" ") ? text.replace(BEFORE_UNIT, "$1\u00a0").replace(HOURS, "$1\u00a0") : text;

const before = options.vnode;
options.vnode = (vnode: VNode) => {
  const props = vnode.props as { children?: unknown };
  const { children } = props;
  if (typeof children === "string") props.children = tied(children);
  else if (Array.isArray(children)) children.forEach((c, i) => typeof c === "string" && (children[i] = tied(c)));
  before?.(vnode);
};
