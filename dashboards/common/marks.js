/**
 * The marks that stand for a state. They differ in shape, so that they are told apart in grey, in
 * print and by eyes that see no colour.
 */

import { svg } from "./dom.js";

/** @typedef {import("./types.js").ValveState} ValveState */

/**
 * Draw a state's mark about a point.
 *
 * within: a solid upright bar. undecided: an open diamond. outside: a saltire cross.
 * skipped: a level bar. open and measuring: nothing is known yet, so nothing is drawn.
 *
 * @param {ValveState | null} state null is a reading that has no limit: an open upright bar
 * @param {number} x
 * @param {number} y
 * @param {number} r half its height
 * @param {boolean} [alone] without a scale under it, where a thin bar would pass for a letter
 * @returns {SVGElement}
 */
export function mark(state, x, y, r, alone = false) {
  switch (state) {
    case "within":
      return bar(x, y, r * (alone ? 0.42 : 0.2), r, "mark solid");
    case "outside": {
      const a = r * 0.86;
      const d = `M${x - a} ${y - a}L${x + a} ${y + a}M${x - a} ${y + a}L${x + a} ${y - a}`;
      return svg("path", { class: "mark stroke", d, "stroke-width": r * 0.42 });
    }
    case "undecided": {
      const a = r * 0.9;
      const d = `M${x} ${y - a}L${x + a} ${y}L${x} ${y + a}L${x - a} ${y}Z`;
      return svg("path", { class: "mark open", d, "stroke-width": r * 0.28 });
    }
    case "skipped":
      return bar(x, y, r, r * 0.2, "mark solid");
    case null:
      return bar(x, y, r * 0.26, r, "mark open thin");
    default:
      return svg("g");
  }
}

/**
 * @param {number} x
 * @param {number} y
 * @param {number} halfWidth
 * @param {number} halfHeight
 * @param {string} kind
 */
function bar(x, y, halfWidth, halfHeight, kind) {
  return svg("rect", {
    class: kind,
    x: x - halfWidth,
    y: y - halfHeight,
    width: halfWidth * 2,
    height: halfHeight * 2,
  });
}
