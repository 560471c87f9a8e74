/**
 * `<order-panel>`: the work order that somebody took: each line with its valves, ticked where the
 * work is on record, a button that tells it is done, and what it should leave behind beside what was
 * found.
 */

import { h, patchList, set, setText, tell, timeOfDay } from "../common/dom.js";
import { drawDue, dueList } from "./order-figures.js";

/** @typedef {import("../common/types.js").State} State */
/** @typedef {import("./order-types.js").OrderLine} OrderLine */

export class OrderPanel extends HTMLElement {
  #head = h("p", { class: "headline" });
  #cost = h("strong", { class: "figure cost" });
  #standing = h("span", { class: "standing" });
  #lines = h("ul", { class: "steps" });
  #over = h("p", {}, "All of it is done. What it touched has to be measured again before the head can be released.");

  connectedCallback() {
    this.#head.append(this.#cost, " ", this.#standing);
    this.append(this.#head, this.#lines, this.#over);
  }

  /** @param {State} state */
  show({ order }) {
    if (order === null) {
      return;
    }
    setText(this.#cost, `${order.done} of ${order.of} done`);
    setText(this.#standing, `${order.cost}, taken by ${order.by} at ${timeOfDay(order.utc)}; ${order.standing}`);
    this.#over.hidden = order.done < order.of;
    patchList(this.#lines, order.lines, (line) => `${line.operation}/${line.words}`, makeLine, drawLine);
  }
}

/** @type {WeakMap<HTMLElement, OrderLine>} */
const lines = new WeakMap();

function makeLine() {
  const done = h("button", { type: "button", class: "quiet" }, "Done…");
  const row = h("li", {}, h("span", { class: "owners" }), h("span", { class: "what" }, h("span"), h("span", { class: "told soft" })), done, dueList());
  done.addEventListener("click", () => {
    const line = lines.get(row);
    if (line !== undefined) {
      const valves = line.owners.filter((one) => !one.done).map((one) => one.name);
      tell(row, "ask-work", { operation: line.operation, valves, depth: line.depth });
    }
  });
  return row;
}

/**
 * @param {HTMLElement} row
 * @param {OrderLine} line
 */
function drawLine(row, line) {
  lines.set(row, line);
  const [owners, what, done, due] = row.children;
  const [words, told] = what?.children ?? [];
  if (owners && words && told && done && due instanceof HTMLDetailsElement) {
    const all = line.owners.length > 0 ? line.owners : [{ name: "face", done: line.finished }];
    owners.replaceChildren(...all.map((one) => h("span", { class: "figure owner", "data-done": String(one.done) }, one.done ? `${one.name} ✓` : one.name)));
    setText(words, line.words);
    setText(told, line.told);
    set(row, { "data-finished": String(line.finished) });
    drawDue(due, line.figures);
    set(done, { hidden: line.finished, "aria-label": `${all.map((one) => one.name).join(", ")}, ${line.words}: done` });
  }
}

customElements.define("order-panel", OrderPanel);
