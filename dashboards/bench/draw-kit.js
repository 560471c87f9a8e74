/**
 * What the line drawings are made of. As on a workshop drawing: thick for edges, thin for what
 * helps to read them, hatched where metal is cut; blue is the place to measure.
 */

import { svg } from "../common/dom.js";

/**
 * @param {string} kind classes: thick, thin, dash, blue, fill, blue-fill
 * @param {string} d
 */
export const line = (kind, d) => svg("path", { class: kind, d });

/**
 * @param {number} x
 * @param {number} y
 * @param {string} text
 * @param {string} [kind]
 */
export const label = (x, y, text, kind = "") => svg("text", { x, y, class: kind }, text);

/**
 * A straight line with an arrow head at each end that is asked for.
 * @param {number} x1
 * @param {number} y1
 * @param {number} x2
 * @param {number} y2
 * @param {{kind?: string, start?: boolean, end?: boolean, head?: number}} [how]
 */
export function arrow(x1, y1, x2, y2, how = {}) {
  const { kind = "blue", start = true, end = true, head = 8 } = how;
  const angle = Math.atan2(y2 - y1, x2 - x1);
  const tip = (/** @type {number} */ x, /** @type {number} */ y, /** @type {number} */ way) => {
    const left = way + 0.4;
    const right = way - 0.4;
    return (
      `M${x} ${y}L${x + head * Math.cos(left)} ${y + head * Math.sin(left)}` +
      `L${x + head * Math.cos(right)} ${y + head * Math.sin(right)}Z`
    );
  };
  const parts = [line(kind, `M${x1} ${y1}L${x2} ${y2}`)];
  if (start) {
    parts.push(line(`${kind}-fill`, tip(x1, y1, angle)));
  }
  if (end) {
    parts.push(line(`${kind}-fill`, tip(x2, y2, angle + Math.PI)));
  }
  return svg("g", {}, ...parts);
}

/**
 * Hatch a rectangle of cut metal.
 * @param {number} x
 * @param {number} y
 * @param {number} width
 * @param {number} height
 */
export function hatched(x, y, width, height) {
  let d = "";
  for (let c = 9; c < width + height; c += 9) {
    // the stroke x' + y' = c, cut to the rectangle
    const x1 = Math.max(0, c - height);
    const x2 = Math.min(width, c);
    d += `M${x + x1} ${y + c - x1}L${x + x2} ${y + c - x2}`;
  }
  return svg(
    "g",
    {},
    line("thin", d),
    svg("rect", { class: "thick", x, y, width, height }),
  );
}

/**
 * Show from which side to measure: the head in plan, front to the left, and an arrow in it.
 * @param {string} direction along or across; anything else shows nothing
 */
export function directionInset(direction) {
  if (direction !== "along" && direction !== "across") {
    return svg("g");
  }
  const [x, y] = [238, 150];
  const way =
    direction === "along" ? arrow(x - 34, y, x + 34, y) : arrow(x, y - 34, x, y + 34);
  return svg(
    "g",
    {},
    svg("rect", { class: "thin", x: x - 42, y: y - 19, width: 84, height: 38, rx: 6 }),
    line("thin", `M${x - 42} ${y - 8}l-6 8l6 8`),
    way,
    svg("circle", { class: "thick fill", cx: x, cy: y, r: 8 }),
    label(x, y + 52, `${direction} the head`, "middle strong"),
  );
}

/** The usual stations and how far down the swept length they lie; others are only named. */
const STATIONS = new Map([
  ["top", 0],
  ["middle", 0.5],
  ["bottom", 1],
]);

/**
 * Where a station lies between the first and the last, 0 to 1; undefined for a name of its own.
 * @param {string} station
 */
export const stationAt = (station) => STATIONS.get(station);
