/**
 * `<plan-panel>`: the cheapest plan as the head is measured now: what it costs, each step in the
 * order of the trade, parts, what to measure again, and what else could be done; and the button
 * that takes it as the work order.
 */

import { h, patchList, set, setText, tell } from "../common/dom.js";
import { askBench } from "../common/stream.js";

/** @typedef {import("../common/types.js").State} State */
/** @typedef {import("../common/types.js").Advice} Advice */
/** @typedef {Advice["lines"][number]} Line */

/** A head being measured changes with every reading: it is planned when it rests for so long. */
const REST_MS = 400;

export class PlanPanel extends HTMLElement {
  #cost = h("strong", { class: "figure cost" });
  #standing = h("span", { class: "standing" }, "Planning…");
  #take = h("button", { type: "button", class: "main", hidden: true }, "Take as work order");
  #barred = h("ul", { class: "plain" });
  #conflict = h("ul", { class: "plain" });
  #proved = h("p", { class: "soft" });
  #steps = h("ul", { class: "steps" });
  #untouched = h("p", { class: "soft" });
  #missing = h("ul", { class: "plain" });
  #parts = h("ul", { class: "plain" });
  #together = h("ul", { class: "plain" });
  #again = h("ul", { class: "pairs" });
  #others = h("ul", { class: "others" });
  #more = h("p", { class: "soft" });
  #cautions = h("ul", { class: "plain" });
  #leftOut = h("ul", { class: "plain" });
  #lists = [this.#barred, this.#conflict, this.#missing, this.#parts, this.#together, this.#again, this.#others, this.#leftOut, this.#cautions];
  #key = "";
  #size = -1;
  #timer = 0;

  connectedCallback() {
    const part = (/** @type {string} */ title, /** @type {Node} */ list) =>
      h("div", { class: "part", hidden: true }, h("h3", {}, title), list);
    this.append(
      h("p", { class: "headline" }, this.#cost, " ", this.#standing),
      part("Stands against the head, whatever is done", this.#barred),
      part("These limits cannot be kept together by any offered work", this.#conflict),
      this.#proved,
      part("Measure these first: then the plan is whole", this.#missing),
      this.#steps,
      this.#untouched,
      this.#take,
      h("div", { class: "two" }, part("Parts", this.#parts), part("Measure again after the work", this.#again)),
      part("In common, after the work", this.#together),
      part("Or, for up to 10 % more", this.#others),
      this.#more,
      part("Not in the plan", this.#leftOut),
      part("Mind", this.#cautions),
    );
    this.#take.addEventListener("click", () => tell(this, "act", { do: "take-plan", key: this.#key }));
  }

  /** @param {State} state */
  show({ record }) {
    if (record.size !== this.#size) {
      const first = this.#size < 0;
      this.#size = record.size;
      clearTimeout(this.#timer);
      this.#timer = window.setTimeout(() => void this.#ask(), first ? 0 : REST_MS);
    }
  }

  async #ask() {
    const size = this.#size;
    const { ok, words, answer } = await askBench({ about: "plan" });
    if (size !== this.#size) {
      return; // the head stands differently by now, and a newer question is on its way
    }
    if (ok) {
      this.#draw(/** @type {Advice} */ (answer));
    } else {
      setText(this.#cost, "");
      setText(this.#standing, words);
      this.#take.hidden = true;
    }
  }

  /** @param {Advice} plan */
  #draw(plan) {
    this.#key = plan.key;
    this.#take.hidden = plan.lines.length === 0;
    setText(this.#cost, plan.cost ?? "No plan");
    setText(this.#standing, plan.cost === null ? "" : plan.standing);
    texts(this.#barred, plan.barred);
    texts(this.#conflict, plan.conflict);
    setText(this.#proved, plan.conflict_words);
    texts(this.#missing, plan.missing);
    patchList(this.#steps, plan.lines, (line) => `${line.operation}/${line.words}`, makeStep, drawStep);
    setText(this.#untouched, plan.untouched.length > 0 ? `Nothing to do: ${plan.untouched.join(", ")}` : "");
    texts(this.#parts, plan.parts);
    texts(this.#together, plan.together);
    pairs(this.#again, plan.remeasure.map((one) => [one.what, one.words]));
    pairs(this.#others, plan.alternatives.map((one) => [`${one.cost} (${one.more})`, one.differs.join("; ")]));
    setText(this.#more, plan.more_words);
    texts(this.#leftOut, plan.left_out);
    texts(this.#cautions, plan.cautions);
    for (const list of this.#lists) {
      const around = list.closest(".part");
      if (around !== null) {
        set(around, { hidden: list.childElementCount === 0 });
      }
    }
  }
}

/**
 * @param {Element} list
 * @param {string[]} lines
 */
function texts(list, lines) {
  patchList(
    list,
    lines,
    (text) => text,
    () => h("li"),
    (row, text) => setText(row, text),
  );
}

/**
 * @param {Element} list
 * @param {[string, string][]} rows
 */
function pairs(list, rows) {
  patchList(
    list,
    rows,
    (row) => row.join(),
    () => h("li", {}, h("strong", { class: "figure" }), h("span")),
    (node, row) => {
      [...node.children].forEach((cell, at) => setText(cell, row[at] ?? ""));
    },
  );
}

function makeStep() {
  return h("li", {}, h("span", { class: "owners figure" }), h("span"), h("span", { class: "why soft" }));
}

/**
 * @param {HTMLElement} row
 * @param {Line} line
 */
function drawStep(row, line) {
  const [owners, words, why] = row.children;
  if (owners && words && why) {
    setText(owners, line.valves.join(", ") || "face");
    setText(words, line.words);
    setText(why, line.why);
  }
}

customElements.define("plan-panel", PlanPanel);
