/**
 * `<trial-panel>`: tries one step at one valve, and shows every figure, limit and allowance that
 * follows from it, while the depth is being moved. Nothing goes on record.
 */

import { h, patchList, set, setText } from "../common/dom.js";
import { LimitScale } from "../common/limit-scale.js";
import { askBench } from "../common/stream.js";

/** @typedef {import("../common/types.js").State} State */
/** @typedef {import("../common/types.js").Trial} Trial */
/** @typedef {Trial["figures"][number]} Figure */

/** Steps that have no depth. */
const WHOLE = ["replace guide", "replace valve", "replace spring"];
const STEPS = ["cut seat", "fit insert", "lap", "reface valve", "grind tip", "skim", "shim", ...WHOLE];
/** The finest that a depth is tried at: 0.005 mm. */
const GRAIN_MM = 0.005;

export class TrialPanel extends HTMLElement {
  #valves = h("div", { class: "reasons which", role: "group", "aria-label": "Valve" });
  #step = h("select", { "aria-label": "Step" }, ...STEPS.map((name) => h("option", {}, name)));
  #depth = h("input", { type: "range", min: 0, max: 0.5, step: GRAIN_MM, value: 0, "aria-label": "Depth" });
  #figure = h("output", { class: "figure depth" });
  #words = h("p", { class: "trial-words", role: "status" });
  #figures = h("ul", { class: "trial-figures" });
  #left = h("ul", { class: "trial-left" });
  #leftTitle = h("h3", {}, "What is left then, each step alone");
  /** @type {string | null} */
  #valve = null;
  #size = -1;
  /** A question is out, and whether another one came up since. */
  #out = false;
  #again = false;

  connectedCallback() {
    this.append(
      this.#valves,
      h("div", { class: "trial-step" }, this.#step, this.#depth, this.#figure),
      this.#words,
      this.#figures,
      this.#leftTitle,
      this.#left,
    );
    this.#step.addEventListener("change", () => {
      this.#depth.value = "0";
      void this.#ask();
    });
    this.#depth.addEventListener("input", () => void this.#ask());
    this.#figures.hidden = this.#leftTitle.hidden = true;
  }

  /** @param {State} state */
  show({ head, record }) {
    patchList(
      this.#valves,
      head.valves.map((valve) => valve.name),
      (name) => name,
      (name) => {
        const choice = h("button", { type: "button", class: "figure", "aria-pressed": "false" }, name);
        choice.addEventListener("click", () => {
          this.#valve = name;
          void this.#ask();
        });
        return choice;
      },
      () => {},
    );
    this.#valve ??= head.valves.find((valve) => valve.state === "outside" || valve.state === "undecided")?.name ?? head.valves[0]?.name ?? null;
    if (record.size !== this.#size) {
      this.#size = record.size;
      void this.#ask();
    }
  }

  async #ask() {
    for (const choice of this.#valves.children) {
      set(choice, { "aria-pressed": String(choice.textContent === this.#valve) });
    }
    setText(this.#figure, `${Number(this.#depth.value).toFixed(3)} mm`);
    this.#depth.hidden = this.#figure.hidden = WHOLE.includes(this.#step.value);
    if (this.#valve === null || this.#out) {
      this.#again = true;
      return;
    }
    this.#out = true;
    do {
      this.#again = false;
      const question = { about: "trial", valve: this.#valve, step: this.#step.value, depth: `${this.#depth.value} mm` };
      const { ok, answer, words } = await askBench(question);
      if (ok) {
        this.#draw(/** @type {Trial} */ (answer));
      } else {
        setText(this.#words, words);
        set(this.#words, { "data-broken": false });
        this.#figures.hidden = this.#left.hidden = this.#leftTitle.hidden = true;
      }
    } while (this.#again);
    this.#out = false;
  }

  /** @param {Trial} trial */
  #draw(trial) {
    set(this.#depth, { max: Math.max(GRAIN_MM, trial.most_mm) });
    const done = trial.depth_mm !== 0 || WHOLE.includes(trial.step);
    const still = trial.beyond.filter((name) => !trial.broken.includes(name));
    const told = [
      trial.cannot.length > 0 ? `Cannot be done so: ${trial.cannot.join("; ")}.` : "",
      trial.broken.length > 0 ? `No longer kept: ${trial.broken.join(", ")}.` : "",
      trial.mended.length > 0 ? `Kept from now on: ${trial.mended.join(", ")}.` : "",
      still.length > 0 ? `Not kept before, and not now: ${still.join(", ")}.` : "",
      trial.unmeasured.length > 0 ? `Not measured: ${trial.unmeasured.join(", ")}.` : "",
    ].filter((text) => text !== "");
    const more = done && trial.then.length > 0 ? `What follows: ${trial.then.join("; ")}.` : "";
    const cost = done && trial.cost !== "" ? `${trial.cost} for this step alone, its part included.` : "";
    const lines = told.length > 0 ? told : ["Every limit that was kept is kept."];
    setText(this.#words, [...lines, more, cost].filter((text) => text !== "").join("\n"));
    set(this.#words, { "data-broken": trial.broken.length > 0 || trial.cannot.length > 0 });
    this.#figures.hidden = this.#left.hidden = this.#leftTitle.hidden = false;
    patchList(this.#figures, trial.figures, (one) => one.name, makeFigure, drawFigure);
    patchList(
      this.#left,
      trial.left,
      (one) => one.step,
      () => h("li", {}, h("strong"), " ", h("span")),
      (row, one) => {
        const [name, what] = row.children;
        if (name && what) {
          setText(name, one.step);
          setText(what, one.words);
        }
      },
    );
  }
}

function makeFigure() {
  const scale = new LimitScale();
  set(scale, { size: "row" });
  return h(
    "li",
    {},
    h("span", { class: "name" }),
    h("span", { class: "before figure soft" }),
    h("span", { class: "after figure" }),
    h("span", { class: "moved figure soft" }),
    scale,
    h("span", { class: "verdict" }),
  );
}

/**
 * @param {HTMLElement} row
 * @param {Figure} one
 */
function drawFigure(row, one) {
  set(row, { "data-stays": one.stays });
  const at = (/** @type {string} */ name) => /** @type {HTMLElement} */ (row.querySelector(name));
  setText(at(".name"), one.name);
  setText(at(".before"), one.before);
  setText(at(".after"), one.after);
  setText(at(".moved"), one.moved);
  const scale = /** @type {LimitScale} */ (at("limit-scale"));
  scale.scale = one.scale;
  setText(at(".verdict"), one.scale.verdict ?? "");
  set(at(".verdict"), { "data-verdict": one.scale.verdict });
}

customElements.define("trial-panel", TrialPanel);
