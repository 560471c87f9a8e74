/**
 * `<sweep-plot>`: a rock sweep with its number explained, so that nobody need believe it. Drawn
 * again at most ten times a second, however fast the gauge is.
 */

import { LimitScale } from "../common/limit-scale.js";
import { changed, h, patchList, set, setText, tell } from "../common/dom.js";
import { plotly } from "./plotly.js";
import { lengthText, sweepFigure, sweepScale } from "./sweep-figure.js";

/** @typedef {import("../common/types.js").Sweep} Sweep */

const LEAST_MS = 100;

export class SweepPlot extends HTMLElement {
  #title = h("p", { class: "sweep-title" });
  #close = h("button", { type: "button", class: "quiet" }, "Put the plot away");
  #box = h("div", { class: "plot", role: "img" });
  #scale = new LimitScale();
  #facts = h("dl", { class: "sweep-facts" });
  #words = h("ul", { class: "sweep-words" });
  #lack = h("p", { class: "again", hidden: true });
  /** @type {Sweep | null} */
  #sweep = null;
  #busy = false;
  #stale = false;

  connectedCallback() {
    const figures = h("div", { class: "sweep-figures" }, this.#scale, this.#facts);
    set(this.#scale, { size: "large" });
    this.append(h("div", { class: "sweep-head" }, this.#title, this.#close), this.#lack, h("div", { class: "sweep-body" }, this.#box, figures, this.#words));
    this.#close.addEventListener("click", () => tell(this, "put-sweep-away", null));
    new ResizeObserver(() => this.redraw()).observe(this.#box);
  }

  /**
   * @param {Sweep | null} sweep null: the reading that was touched is of a sweep whose curve has
   *   not come, and perhaps will not
   */
  show(sweep) {
    this.#scale.scale = sweep === null || sweep.running ? null : sweepScale(sweep);
    this.#lack.hidden = sweep !== null;
    this.#box.hidden = this.#facts.hidden = this.#words.hidden = sweep === null;
    this.#close.hidden = sweep?.running ?? false;
    if (sweep === null) {
      setText(this.#title, "");
      setText(this.#lack, "The curve of that sweep is not here. The record and the report have it.");
      return;
    }
    if (changed(this, sweep)) {
      this.#sweep = sweep;
      this.#explain(sweep);
      this.redraw();
    }
  }

  /** Draw the plot again, now or as soon as the last drawing is done. */
  redraw() {
    if (this.#busy) {
      this.#stale = true;
      return;
    }
    if (this.#sweep === null || this.#box.clientWidth === 0) {
      return;
    }
    this.#busy = true;
    this.#stale = false;
    const rest = new Promise((done) => setTimeout(done, LEAST_MS));
    this.#draw(this.#sweep)
      .catch((/** @type {unknown} */ fault) => {
        setText(this.#lack, `The plot cannot be drawn (${String(fault)}); the figures stand on their own.`);
        this.#lack.hidden = false;
      })
      .then(() => rest)
      .then(() => {
        this.#busy = false;
        if (this.#stale) {
          this.redraw();
        }
      });
  }

  /** @param {Sweep} sweep */
  async #draw(sweep) {
    const library = await plotly();
    const style = getComputedStyle(this);
    const colour = (/** @type {string} */ name) => {
      // A custom property keeps its light-dark() unresolved; a colour that uses it does not.
      this.#box.style.color = `var(--${name})`;
      return getComputedStyle(this.#box).color;
    };
    const colours = {
      ink: colour("ink"), soft: colour("soft"), line: colour("line"), blue: colour("blue"), sheet: colour("sheet"),
      face: style.fontFamily,
    };
    const { data, layout } = sweepFigure(sweep, colours);
    const size = { width: this.#box.clientWidth, height: this.#box.clientHeight };
    await library.react(this.#box, data, { ...layout, ...size }, { staticPlot: true, displayModeBar: false });
  }

  /** @param {Sweep} sweep */
  #explain(sweep) {
    const state = sweep.running ? "sweep is running" : sweep.usable === false ? "not usable" : "done";
    setText(this.#title, `${sweep.valve}, ${sweep.direction} the head, with ${sweep.gauge}: ${state}`);
    set(this.#box, { "aria-label": `curve of the sweep; ${sweep.words.join(" ")}` });
    const length = (/** @type {number | null} */ um, /** @type {number | null} */ u) =>
      um === null ? "" : lengthText(um, sweep.unit) + (u === null ? "" : ` ± ${lengthText(2 * u, sweep.unit)}`);
    /** @type {[string, string][]} */
    const facts = [
      ["full rocks", String(sweep.full_rocks)],
      ["travel", length(sweep.travel_um, sweep.travel_u_um)],
      ["divided by", sweep.clearance_um === null ? "" : sweep.factor],
      ["clearance", length(sweep.clearance_um, sweep.clearance_u_um)],
      [`limit of the ${sweep.limit_of}`, sweep.limit_words],
      ["verdict", sweep.verdict ?? ""],
      ["lift", sweep.lift],
      ["valve used", sweep.valve_used],
    ];
    patchList(
      this.#facts,
      facts.filter(([, text]) => text !== ""),
      ([name]) => name,
      () => h("div", {}, h("dt"), h("dd", {}, h("bdi", { class: "figure" }))),
      (row, [name, text]) => {
        setText(/** @type {Element} */ (row.querySelector("dt")), name);
        const value = /** @type {Element} */ (row.querySelector("bdi"));
        setText(value, text);
        value.classList.toggle("verdict", name === "verdict");
        set(value, { "data-verdict": name === "verdict" ? text : null });
      },
    );
    const unused = sweep.plateaus.filter((one) => !one.used && one.why !== "");
    const words = [
      ...sweep.flags.map((flag) => ["flag", flag.words]),
      ...sweep.words.map((text) => ["", text]),
      ...unused.map((one) => ["", `The plateau at ${one.t0_s.toFixed(1)} s is not used: ${one.why}`]),
    ];
    patchList(
      this.#words,
      words,
      ([, text]) => text ?? "",
      () => h("li", {}, h("bdi")),
      (row, [kind, text]) => {
        setText(/** @type {Element} */ (row.firstElementChild), text ?? "");
        set(row, { "data-kind": kind === "" ? null : kind });
      },
    );
  }
}

customElements.define("sweep-plot", SweepPlot);
