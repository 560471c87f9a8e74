/** Line drawings of what is measured on the head itself: rock, fire face. 300 by 220 units each. */

import { svg } from "../common/dom.js";
import { arrow, directionInset, hatched, label, line } from "./draw-kit.js";

/** @typedef {import("../common/types.js").Next} Next */
/** @typedef {import("../common/types.js").Head} Head */

/**
 * The head lies with its fire face up. The valve is lifted off its seat by a stop; the indicator
 * stands on the face and feels the rim of the valve head while a hand rocks it.
 * @param {Next} next
 */
export function drawRock(next) {
  const [x, face] = [92, 116];
  const valve = (/** @type {string} */ kind, /** @type {number} */ tilt) =>
    svg(
      "g",
      { transform: `rotate(${tilt} ${x} 196)` },
      line(kind, `M${x - 44} 62H${x + 44}l3 7C${x + 18} 80 ${x + 8} 84 ${x + 8} 108V214H${x - 8}V108C${x - 8} 84 ${x - 18} 80 ${x - 47} 69Z`),
    );
  return [
    hatched(x - 32, 140, 20, 72),
    hatched(x + 12, 140, 20, 72),
    line("thick", `M4 ${face}H${x - 52}l10 12M${x + 52} ${face}l-10 12M${x + 52} ${face}H186`),
    valve("dash", -5),
    valve("dash", 5),
    valve("thick fill", 0),
    arrow(x - 34, 38, x + 34, 38),
    label(x, 26, "rock", "strong middle"),
    // indicator: dial, stem, plunger, post on the face
    line("thick", `M172 ${face}V66M160 ${face}H186`),
    line("blue", `M${x + 47} 66H158`),
    svg("circle", { class: "blue-fill", cx: x + 50, cy: 66, r: 4 }),
    svg("circle", { class: "thick fill", cx: 178, cy: 66, r: 21 }),
    line("thin", "M178 66L188 52M163 66h4M193 66h-4M178 51v4M178 81v-4"),
    // lift
    line("thin", `M14 69H${x - 50}`),
    arrow(22, 69, 22, face, { kind: "thin", head: 6 }),
    label(27, 98, "lift", "quiet"),
    directionInset(next.direction),
  ];
}

/**
 * The fire face in plan with the grid on it: read points are filled, the next one is marked.
 * @param {Next} next
 * @param {Head["face"]} face
 */
export function drawFace(next, face) {
  const length = Math.max(face?.length_mm ?? 700, 1);
  const width = Math.max(face?.width_mm ?? 190, 1);
  const scale = Math.min(260 / length, 130 / width);
  const [left, top] = [150 - (length * scale) / 2, 104 - (width * scale) / 2];
  /** @type {SVGElement[]} */
  const parts = [
    svg("rect", { class: "thick", x: left, y: top, width: length * scale, height: width * scale, rx: 4 }),
    line("thin", `M${left} ${top + (width * scale) / 2 - 8}l-7 8l7 8`),
    label(left, top - 12, "front", "quiet"),
  ];
  for (const point of face?.points ?? []) {
    const x = left + point.x_mm * scale;
    const y = top + point.y_mm * scale;
    if (point.station === next.station) {
      parts.push(
        line("blue", `M${x - 17} ${y}h34M${x} ${y - 17}v34`),
        svg("circle", { class: "blue", cx: x, cy: y, r: 9 }),
      );
    } else {
      const kind = point.value_um === null ? "thin fill" : "ink-fill";
      parts.push(svg("circle", { class: kind, cx: x, cy: y, r: 3.5 }));
    }
  }
  parts.push(label(150, 206, next.station === "" ? "fire face" : `point ${next.station}`, "strong middle"));
  return parts;
}

/** @param {Next} next */
export function drawOther(next) {
  return [
    svg("rect", { class: "thick", x: 84, y: 74, width: 132, height: 84, rx: 4 }),
    line("center", "M62 116H238M150 54V178"),
    arrow(84, 46, 216, 46),
    line("thin", "M84 38V70M216 38V70"),
    label(150, 204, [next.station, next.direction].filter(Boolean).join(", "), "strong middle"),
  ];
}
