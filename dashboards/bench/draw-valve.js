/** Line drawings of the loose parts: stem, guide, stand-down, spring. 300 by 220 units each. */

import { svg } from "../common/dom.js";
import { arrow, directionInset, hatched, label, line, stationAt } from "./draw-kit.js";

/** @typedef {import("../common/types.js").Next} Next */

/**
 * The outline of a valve that hangs head down.
 * @param {number} x its axis
 * @param {number} top its tip
 * @param {number} bottom the face of its head
 * @param {string} [kind]
 */
export function valveOutline(x, top, bottom, kind = "thick") {
  const stem = 11;
  const rim = 58;
  const right =
    `M${x - stem + 2} ${top}H${x + stem - 2}L${x + stem} ${top + 2}V${top + 10}l-3 2v5l3 2` +
    `V${bottom - 50}C${x + stem} ${bottom - 24} ${x + stem + 14} ${bottom - 19} ${x + rim} ${bottom - 9}`;
  const left =
    `L${x + rim - 5} ${bottom}H${x - rim + 5}L${x - rim} ${bottom - 9}` +
    `C${x - stem - 14} ${bottom - 19} ${x - stem} ${bottom - 24} ${x - stem} ${bottom - 50}` +
    `V${top + 19}l3 -2v-5l-3 -2V${top + 2}Z`;
  return line(`${kind} fill`, right + left);
}

/** @param {Next} next */
export function drawStem(next) {
  const x = 66;
  const [first, last] = [52, 138];
  /** @type {SVGElement[]} */
  const parts = [valveOutline(x, 10, 212), line("center", `M${x} 2V219`)];
  for (const name of ["top", "middle", "bottom"]) {
    const y = first + (stationAt(name) ?? 0) * (last - first);
    parts.push(line("thin", `M${x + 11} ${y}h24`));
    if (name !== next.station) {
      parts.push(label(x + 64, y + 4, name, "quiet"));
    }
  }
  const at = stationAt(next.station);
  if (at !== undefined) {
    const y = first + at * (last - first);
    parts.push(
      svg("rect", { class: "blue-fill", x: x - 59, y: y - 9, width: 18, height: 18 }),
      svg("rect", { class: "blue-fill", x: x + 41, y: y - 9, width: 18, height: 18 }),
      arrow(x - 42, y, x - 12, y, { start: false }),
      arrow(x + 42, y, x + 12, y, { start: false }),
    );
  }
  const named = at === undefined ? 92 : first + at * (last - first);
  parts.push(label(x + 64, named + 5, next.station, "strong"), directionInset(next.direction));
  return parts;
}

/** @param {Next} next */
export function drawGuide(next) {
  const x = 66;
  const bore = 17;
  const wall = 22;
  const [first, last] = [52, 168];
  /** @type {SVGElement[]} */
  const parts = [
    hatched(x - bore - wall, 26, wall, 168),
    hatched(x + bore, 26, wall, 168),
    line("center", `M${x} 24V199`),
    label(x, 20, "spring end", "middle quiet"),
    label(x, 212, "chamber end", "middle quiet"),
  ];
  const at = stationAt(next.station);
  if (at !== undefined) {
    const y = first + at * (last - first);
    parts.push(
      svg("rect", { class: "thin fill", x: x - 5, y: 26, width: 10, height: y - 32 }),
      arrow(x - bore, y, x + bore, y),
      svg("circle", { class: "blue-fill", cx: x, cy: y, r: 6 }),
      line("thin", `M${x + bore + wall} ${y}h16`),
    );
  }
  const named = at === undefined ? 110 : first + at * (last - first);
  parts.push(label(x + 60, named + 5, next.station, "strong"), directionInset(next.direction));
  return parts;
}

/** The head lies with its fire face up; the valve rests in its seat, a little below the face. */
export function drawStandDown() {
  const [face, low, x] = [112, 128, 150];
  return [
    hatched(18, face, 62, 70),
    hatched(220, face, 62, 70),
    line("thick", `M80 ${face + 34}l14 20M220 ${face + 34}l-14 20`),
    line("thick fill", `M${x - 56} ${low}H${x + 56}l4 8C${x + 20} ${low + 20} ${x + 12} ${low + 26} ${x + 11} ${low + 52}V212H${x - 11}V${low + 52}C${x - 12} ${low + 26} ${x - 20} ${low + 20} ${x - 60} ${low + 8}Z`),
    svg("rect", { class: "thick fill", x: 40, y: face - 18, width: 220, height: 18 }),
    svg("rect", { class: "thick fill", x: x - 24, y: 40, width: 48, height: 54 }),
    svg("rect", { class: "thick fill", x: x - 15, y: 52, width: 30, height: 15 }),
    line("blue", `M${x} ${face}V${low}`),
    line("dash", `M218 ${low}H292M262 ${face}H292`),
    arrow(278, face - 26, 278, face, { start: false }),
    arrow(278, low + 26, 278, low, { start: false }),
    line("blue", `M278 ${face}V${low}`),
    label(36, 84, "fire face", "quiet middle"),
    label(278, 74, "stand-down", "strong end-over"),
  ];
}

/** @param {Next} next */
export function drawSpring(next) {
  const [left, right, top, bottom, coils] = [96, 196, 26, 194, 6];
  const pitch = (bottom - top) / coils;
  /** @type {SVGElement[]} */
  const parts = [];
  for (let n = 0; n < coils; n += 1) {
    const y = top + n * pitch;
    parts.push(
      line("wire", `M${left} ${y + pitch * 0.5}L${right} ${y}`),
      ...(n < coils - 1 ? [line("wire-back", `M${right} ${y}L${left} ${y + pitch * 1.5}`)] : []),
    );
  }
  parts.push(
    line("thick", `M70 ${top - 8}H222M70 ${bottom - pitch * 0.5 + 8}H222`),
    arrow(52, top - 8, 52, bottom - pitch * 0.5 + 8),
    line("thin", `M44 ${top - 8}H66M44 ${bottom - pitch * 0.5 + 8}H66`),
    label(146, 212, next.station, "strong middle"),
  );
  return parts.sort((a, b) => Number(b.matches(".wire-back")) - Number(a.matches(".wire-back")));
}
