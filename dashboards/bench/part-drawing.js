/** `<part-drawing>`: the part on the bench as a plain line drawing, with the place marked. */

import { changed, set, svg } from "../common/dom.js";
import { drawGuide, drawSpring, drawStandDown, drawStem } from "./draw-valve.js";
import { drawFace, drawOther, drawRock } from "./draw-head.js";

/** @typedef {import("../common/types.js").Next} Next */
/** @typedef {import("../common/types.js").Head} Head */

/** @type {Record<string, (next: Next, face: Head["face"]) => SVGElement[]>} */
const DRAWINGS = {
  stem: drawStem,
  guide: drawGuide,
  rock: drawRock,
  "stand-down": drawStandDown,
  spring: drawSpring,
  face: drawFace,
  other: drawOther,
};

export class PartDrawing extends HTMLElement {
  /**
   * @param {Next} next
   * @param {Head["face"]} face
   */
  show(next, face) {
    if (!changed(this, [next.part, next.station, next.direction, next.part === "face" && face])) {
      return;
    }
    const draw = DRAWINGS[next.part] ?? drawOther;
    set(this, { role: "img", "aria-label": `line drawing: ${next.words}` });
    this.replaceChildren(
      svg("svg", { viewBox: "0 0 300 220", "aria-hidden": "true" }, ...draw(next, face)),
    );
  }
}

customElements.define("part-drawing", PartDrawing);
