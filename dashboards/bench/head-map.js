/**
 * `<head-map>`: the head in plan as it lies on the bench, front to the left. Every valve is a
 * button with its state as mark and word and its worst verdict as a tiny limit scale; touching one
 * shows its readings and verdicts only, touching it again shows all.
 */

import { changed, h, patchList, set, setText, svg, tell } from "../common/dom.js";
import { LimitScale } from "../common/limit-scale.js";
import { mark } from "../common/marks.js";

/** @typedef {import("../common/types.js").State} State */
/** @typedef {import("../common/types.js").Head} Head */
/** @typedef {import("../common/types.js").Valve} Valve */

/** Drawing units along the head; the height follows the head's own proportions. */
const LONG = 1000;
const MARGIN = 34;

/**
 * @typedef {object} Spot a valve's place on the drawing
 * @property {number} x per cent of the length
 * @property {number} y per cent of the width
 * @property {number} size diameter, per cent of the length
 * @property {"below" | "above"} side where its scale and word stand: two neighbours in a row take
 *   turns, so that long words have room
 */

/**
 * Place the valves: in one row along the head if a cylinder has one or two, else one row a kind.
 * @param {Head} head
 * @param {Valve} valve
 * @returns {Spot}
 */
export function spotOf(head, valve) {
  const cell = (LONG - 2 * MARGIN) / Math.max(head.cylinders, 1);
  const middle = MARGIN + cell * (valve.cylinder - 0.5);
  const mates = head.valves.filter((one) => one.cylinder === valve.cylinder);
  const rows = mates.length > 2 ? Math.max(head.kinds.length, 1) : 1;
  const row = rows > 1 ? Math.max(head.kinds.indexOf(valve.kind), 0) : 0;
  const line = rows > 1 ? mates.filter((one) => one.kind === valve.kind) : mates;
  const index = line.findIndex((one) => one.name === valve.name);
  const room = cell / Math.max(line.length, 1);
  const larger = valve.kind === head.kinds[0] ? 1 : 0.86;
  return {
    x: ((middle + room * (index - (line.length - 1) / 2)) / LONG) * 100,
    y: (100 * (row + 0.5)) / rows,
    size: (Math.min(room * 0.88, 84) * larger * 100) / LONG,
    side: rows === 1 && index % 2 === 1 ? "above" : "below",
  };
}

/**
 * Width of the drawing divided by its height.
 * @param {Head} head
 */
function proportion(head) {
  const face = head.face ?? { length_mm: head.cylinders * 120, width_mm: 190 };
  return Math.min(Math.max(face.length_mm / Math.max(face.width_mm, 1), 2.6), 4.4);
}

export class HeadMap extends HTMLElement {
  #plan = h("div", { class: "plan" });
  #backdrop = h("div", { class: "backdrop" });
  #valves = h("div", { class: "valves" });

  connectedCallback() {
    this.#plan.append(this.#backdrop, this.#valves);
    this.append(this.#plan);
    this.#valves.addEventListener("click", (event) => {
      const hit = event.target instanceof Element ? event.target.closest("button") : null;
      if (hit !== null) {
        const name = hit.dataset["valve"] ?? null;
        tell(this, "pick-valve", hit.getAttribute("aria-pressed") === "true" ? null : name);
      }
    });
  }

  /**
   * @param {State} state
   * @param {{valve: string | null}} view
   */
  show({ head, next }, view) {
    if (changed(this.#backdrop, [head.cylinders, head.face?.length_mm, head.face?.width_mm])) {
      this.#plan.style.aspectRatio = String(proportion(head));
      this.#backdrop.replaceChildren(backdrop(head));
    }
    const items = head.valves.map((valve) => ({
      valve,
      spot: spotOf(head, valve),
      now: next?.valve === valve.name,
      picked: view.valve === valve.name,
    }));
    patchList(this.#valves, items, (item) => item.valve.name, makeValve, drawValve);
  }
}

function makeValve() {
  const scale = new LimitScale();
  set(scale, { size: "tiny" });
  return h(
    "button",
    { type: "button", class: "valve" },
    h("span", { class: "disc" }, h("bdi", { class: "valve-name figure" }), h("span", { class: "valve-mark" })),
    scale,
    h("span", { class: "valve-word" }),
  );
}

/**
 * @param {HTMLElement} node
 * @param {{valve: Valve, spot: Spot, now: boolean, picked: boolean}} item
 */
function drawValve(node, { valve, spot, now, picked }) {
  const part = (/** @type {string} */ name) => /** @type {HTMLElement} */ (node.querySelector(name));
  node.style.left = `${spot.x}%`;
  node.style.top = `${spot.y}%`;
  node.style.setProperty("--disc", String(spot.size));
  const word = !now ? wordOf(valve) : valve.done > 0 ? `now, ${valve.done} of ${valve.of}` : "now";
  set(node, {
    "data-valve": valve.name,
    "data-state": valve.state,
    "data-now": now,
    "data-side": spot.side,
    "aria-pressed": String(picked),
    "aria-label": `valve ${valve.name}, ${valve.kind}: ${valve.state}, ${valve.done} of ${valve.of} readings${now ? ", measured now" : ""}`,
  });
  setText(part(".valve-name"), valve.name);
  setText(part(".valve-word"), word);
  part(".valve-mark").replaceChildren(
    svg("svg", { viewBox: "0 0 24 24", "aria-hidden": "true" }, mark(valve.state, 12, 12, 11, true)),
  );
  const scale = /** @type {LimitScale} */ (part("limit-scale"));
  scale.scale = valve.worst?.scale ?? null;
}

/** @param {Valve} valve */
function wordOf(valve) {
  if (valve.state === "open" || valve.state === "measuring") {
    return valve.done > 0 ? `${valve.done} of ${valve.of}` : "open";
  }
  return valve.state;
}

/** @param {Head} head */
function backdrop(head) {
  const high = LONG / proportion(head);
  const middle = high / 2;
  const cell = (LONG - 2 * MARGIN) / Math.max(head.cylinders, 1);
  const bore = Math.min(cell * 0.49, middle - 22);
  /** @type {SVGElement[]} */
  const parts = [
    svg("rect", { class: "outline", x: 8, y: 4, width: LONG - 12, height: high - 8, rx: 10 }),
    svg("path", { class: "center", d: `M0 ${middle}H${LONG}` }),
    svg("path", { class: "front", d: `M2 ${middle - 16}L-12 ${middle}L2 ${middle + 16}Z` }),
  ];
  for (let n = 0; n <= head.cylinders; n += 1) {
    const x = MARGIN + cell * n;
    const at = Math.min(Math.max(x, 26), LONG - 22);
    for (const y of [22, high - 22]) {
      parts.push(svg("circle", { class: "hole", cx: at, cy: y, r: 7 }));
    }
    if (n > 0) {
      const on = x - cell / 2;
      parts.push(
        svg("circle", { class: "bore", cx: on, cy: middle, r: bore }),
        svg("path", { class: "center", d: `M${on} 34V${high - 10}` }),
        svg("text", { class: "number", x: on, y: 26 }, String(n)),
      );
    }
  }
  return svg(
    "svg",
    { viewBox: `-14 0 ${LONG + 18} ${high}`, preserveAspectRatio: "none", "aria-hidden": "true" },
    ...parts,
  );
}

customElements.define("head-map", HeadMap);
