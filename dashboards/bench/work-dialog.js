/**
 * `<work-dialog>`: tells the bench what was done to the head. Operation, valves where it concerns
 * single ones, the gauge where one was found out; depth, where a length says what was done, and name
 * may stay empty. Before it is told the bench is asked what would be expected then.
 */

import { h, setText, tell } from "../common/dom.js";
import { askBench } from "../common/stream.js";

/** @typedef {import("../common/types.js").State} State */

/**
 * @typedef {object} Told what the dialog starts with, for a person to correct
 * @property {string} operation
 * @property {string[]} valves
 * @property {string} depth
 */

/** Stand for a size that nobody tells here, and for the standard one; no size's name begins with a blank. */
const UNTOLD = " untold";
const STANDARD = " standard";

/** What is asked for beside the operation, by what the length says of it. */
const DEPTHS = {
  seat: "Depth taken off the seat along the valve, such as 0.15 mm; 0.10 mm at 45 if square to a 45° seat; may stay empty",
  "valve face": "Depth taken off the valve's face along the valve, such as 0.05 mm; 0.10 mm at 45 if square to a 45° face; may stay empty",
  tip: "Length taken off the tip, such as 0.05 mm; may stay empty",
  "head face": "Depth taken off the head's face, such as 0.10 mm; may stay empty",
  shims: "How much thicker the shims are now, with its unit; may stay empty",
};

/** @param {string} label */
function field(label) {
  return h("input", { type: "text", maxlength: 60, autocomplete: "off", "aria-label": label });
}

export class WorkDialog extends HTMLElement {
  #operation = h("select", { "aria-label": "Operation" });
  #valves = h("div", { class: "reasons which", role: "group", "aria-label": "Valves" });
  #gauge = h("select", { "aria-label": "Gauge" });
  #gaugeLabel = h("label", {}, h("span", {}, "Gauge that was found out"), this.#gauge);
  #depth = field("Depth taken off");
  #depthWords = h("span");
  #depthLabel = h("label", {}, this.#depthWords, this.#depth);
  #size = h("select", { "aria-label": "Size" });
  #sizeLabel = h("label", {}, h("span", {}, "Size now"), this.#size);
  #then = h("ul", { class: "then soft", "aria-label": "What will be expected", "aria-live": "polite" });
  #asked = 0;
  #by = field("Done by");
  #whole = h("p", { class: "soft" }, "Concerns the whole head.");
  #go = h("button", { type: "submit", class: "main" }, "Work is done");
  #cancel = h("button", { type: "button" }, "Leave it");
  #form = h(
    "form",
    { method: "dialog" },
    h("h2", { id: "work-title" }, "What was done?"),
    h("p", { class: "soft" }, "Readings that it touches become stale and are asked for again."),
    h("label", {}, h("span", {}, "Operation"), this.#operation),
    this.#valves,
    this.#whole,
    this.#gaugeLabel,
    this.#depthLabel,
    this.#sizeLabel,
    this.#then,
    h("label", {}, h("span", {}, "Done by; empty: who stands at the bench"), this.#by),
    h("div", { class: "dialog-end" }, this.#cancel, this.#go),
  );
  #dialog = h("dialog", { "aria-labelledby": "work-title" }, this.#form);
  /** @type {State | null} */
  #state = null;

  connectedCallback() {
    this.append(this.#dialog);
    this.#cancel.addEventListener("click", () => this.#dialog.close());
    this.#operation.addEventListener("change", () => this.#draw());
    this.#size.addEventListener("change", () => void this.#foretell());
    this.#depth.addEventListener("input", () => void this.#foretell());
    this.#form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.#dialog.close();
      const concerns = this.#concerns();
      tell(this, "act", {
        do: "work",
        operation: this.#operation.value,
        valves: concerns === "valves" ? this.#chosen() : [],
        depth: this.#depthTold(),
        by: this.#by.value.trim(),
        gauge: concerns === "gauge" ? this.#gauge.value : "",
        ...this.#told(),
      });
    });
  }

  /** Whether the dialog is open. */
  get open() {
    return this.#dialog.open;
  }

  /**
   * @param {State} state
   * @param {Told} [told]
   */
  ask(state, told) {
    this.#state = state;
    const option = (/** @type {string} */ text, value = text) => h("option", { value }, text);
    this.#operation.replaceChildren(...state.operations.map((one) => option(one.name)));
    this.#gauge.replaceChildren(...state.gauges.map((one) => option(`${one.id}: ${one.title}`, one.id)));
    this.#valves.replaceChildren(
      ...state.head.valves.map((valve) => {
        const named = told?.valves.includes(valve.name) ?? false;
        const choice = h("button", { type: "button", class: "figure", "aria-pressed": String(named) }, valve.name);
        choice.addEventListener("click", () => {
          choice.setAttribute("aria-pressed", String(choice.getAttribute("aria-pressed") !== "true"));
          this.#draw();
        });
        return choice;
      }),
    );
    this.#size.replaceChildren();
    this.#operation.value = told?.operation ?? state.operations[0]?.name ?? "";
    this.#depth.value = told?.depth ?? "";
    this.#draw();
    this.#dialog.showModal();
  }

  #chosenOperation() {
    const name = this.#operation.value;
    return this.#state?.operations.find((one) => one.name === name);
  }

  #concerns() {
    return this.#chosenOperation()?.concerns ?? "head";
  }

  /** The depth as it is told; nothing where none is asked for, whatever was typed for another operation. */
  #depthTold() {
    return this.#chosenOperation()?.depth ? this.#depth.value.trim() : "";
  }

  /** The size as it is told; nothing where the work order says it. */
  #told() {
    const size = this.#size.value;
    return this.#sizeLabel.hidden || size === UNTOLD ? {} : { size: size === STANDARD ? "" : size };
  }

  /** Offer the sizes that the sheet has for every valve chosen, and keep the choice where it can be. */
  #drawSizes() {
    const operation = this.#chosenOperation();
    const valves = this.#chosen();
    const fit = (operation?.sizes ?? []).filter((one) => valves.every((valve) => one.valves.includes(valve)));
    const before = this.#size.value;
    this.#size.replaceChildren(
      h("option", { value: UNTOLD }, `as the work order says, else ${operation?.untold ?? "standard"}`),
      h("option", { value: STANDARD }, "standard"),
      ...fit.map((one) => h("option", { value: one.name }, one.name)),
    );
    this.#size.value = before;
    if (this.#size.selectedIndex < 0) {
      this.#size.value = UNTOLD;
    }
    this.#sizeLabel.hidden = (operation?.sizes ?? []).length === 0;
  }

  #chosen() {
    const pressed = [...this.#valves.children].filter((one) => one.getAttribute("aria-pressed") === "true");
    return pressed.map((one) => one.textContent ?? "");
  }

  #draw() {
    const concerns = this.#concerns();
    this.#valves.hidden = concerns !== "valves";
    this.#whole.hidden = concerns !== "head";
    this.#gaugeLabel.hidden = concerns !== "gauge";
    const depth = this.#chosenOperation()?.depth || null;
    this.#depthLabel.hidden = depth === null;
    setText(this.#depthWords, depth ? DEPTHS[depth] : "");
    this.#depth.setAttribute("aria-label", depth === "shims" ? "Shims thicker by" : "Depth taken off");
    this.#go.disabled = concerns === "valves" && this.#chosen().length === 0;
    this.#drawSizes();
    void this.#foretell();
  }

  /** Show what the work would let expect; an answer that is no longer asked for is left aside. */
  async #foretell() {
    const mine = ++this.#asked;
    this.#then.replaceChildren();
    if (this.#go.disabled || this.#concerns() === "gauge") {
      return;
    }
    const valves = this.#concerns() === "valves" ? this.#chosen().join(" ") : "";
    const depth = this.#depthTold();
    const { ok, words, answer } = await askBench({ about: "work", operation: this.#operation.value, valves, depth, ...this.#told() });
    if (mine === this.#asked) {
      const lines = /** @type {{lines?: string[]} | null} */ (answer)?.lines ?? [];
      this.#then.replaceChildren(...(ok ? lines : [words]).map((line) => h("li", {}, h("bdi", {}, line))));
    }
  }
}

customElements.define("work-dialog", WorkDialog);
