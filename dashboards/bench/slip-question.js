/**
 * `<slip-question>`: the value that came looks like a slip. It lies in the tray; a person measures
 * again, which leaves it there, or keeps it with a reason. Nothing goes on by itself.
 */

import { h, setText, tell } from "../common/dom.js";
import { REASONS } from "./reason-dialog.js";

/** @typedef {import("../common/types.js").State} State */
/** @typedef {import("../common/types.js").Doubt} Doubt */

export class SlipQuestion extends HTMLElement {
  #value = h("bdi", { class: "figure slip-value" });
  #words = h("bdi", { class: "slip-words" });
  #again = h("button", { type: "button", class: "main" }, "Measure again");
  #keep = h("button", { type: "button" }, "Keep it here…");
  /** @type {Doubt | null} */
  #question = null;
  /** @type {number | null} the question that was answered with "measure again" */
  #answered = null;
  #about = "";

  connectedCallback() {
    this.hidden = true;
    this.append(
      h("div", { role: "alert" }, h("p", {}, this.#value), h("p", {}, this.#words)),
      h("div", { class: "slip-answers", role: "group", "aria-label": "Answers" }, this.#again, this.#keep),
    );
    this.#again.addEventListener("click", () => {
      this.#answered = this.#question?.place ?? null;
      this.#draw();
    });
    this.#keep.addEventListener("click", () => {
      const question = this.#question;
      if (question !== null) {
        const { place, step } = question;
        const make = (/** @type {string} */ reason) => ({ do: "assign", place, step, reason });
        tell(this, "ask-why", { title: "Keep it here", about: this.#about, reasons: REASONS.keep, make });
      }
    });
  }

  /** @param {State} state */
  show({ question, tray, next }) {
    this.#question = question;
    const sent = tray.find((one) => one.place === question?.place);
    const value = sent === undefined ? "" : `${sent.text} ${sent.unit}`;
    this.#about = `${value}, to: ${next?.words ?? ""}`;
    setText(this.#value, value);
    setText(this.#words, question === null ? "" : `This ${question.words}.`);
    this.#draw();
  }

  /** @param {boolean} up */
  link(up) {
    this.#keep.disabled = !up;
  }

  #draw() {
    this.hidden = this.#question === null || this.#question.place === this.#answered;
  }
}

customElements.define("slip-question", SlipQuestion);
