/**
 * `<reason-dialog>`: nothing is skipped, repeated or struck out without a reason. The usual ones
 * are one touch; any other can be written.
 */

import { h, setText, tell } from "../common/dom.js";

/** @typedef {import("../common/types.js").Action} Action */

/**
 * @typedef {object} Question
 * @property {string} title what will be done
 * @property {string} about to what
 * @property {string[]} reasons
 * @property {(reason: string) => Action} make
 */

/** The usual reasons, by action. */
export const REASONS = {
  skip: ["part is missing", "part is condemned by eye", "place cannot be reached", "gauge is not at hand", "will be measured later"],
  retake: ["gauge was not square", "dirt or oil on the part", "wrong place", "part was warm", "to see whether it repeats"],
  "strike-out": ["wrong valve", "wrong place", "gauge slipped", "dirt or oil on the part", "zero was not right"],
  keep: ["measured twice, the same", "the part is like that", "the gauge was changed on purpose"],
  assign: ["it belongs to this step", "sent before the step was asked for"],
};

export class ReasonDialog extends HTMLElement {
  #title = h("h2", { id: "why-title" });
  #about = h("bdi");
  #choices = h("div", { class: "reasons", role: "group", "aria-label": "Usual reasons" });
  #text = h("input", { type: "text", maxlength: 300, autocomplete: "off", "aria-label": "Another reason" });
  #go = h("button", { type: "submit", class: "main" });
  #cancel = h("button", { type: "button" }, "Leave it");
  #form = h(
    "form",
    { method: "dialog" },
    this.#title,
    h("p", {}, this.#about),
    this.#choices,
    h("label", {}, h("span", {}, "Another reason"), this.#text),
    h("div", { class: "dialog-end" }, this.#cancel, this.#go),
  );
  #dialog = h("dialog", { "aria-labelledby": "why-title" }, this.#form);
  /** @type {Question | null} */
  #question = null;

  connectedCallback() {
    this.append(this.#dialog);
    this.#cancel.addEventListener("click", () => this.#dialog.close());
    this.#text.addEventListener("input", () => this.#choose(this.#text.value));
    this.#form.addEventListener("submit", (event) => {
      event.preventDefault();
      const reason = this.#text.value.trim();
      if (this.#question !== null && reason !== "") {
        this.#dialog.close();
        tell(this, "act", this.#question.make(reason));
      }
    });
  }

  /** Whether a question is open. */
  get open() {
    return this.#dialog.open;
  }

  /** @param {Question} question */
  ask(question) {
    this.#question = question;
    setText(this.#title, question.title);
    setText(this.#about, question.about);
    setText(this.#go, question.title);
    this.#choices.replaceChildren(
      ...question.reasons.map((reason) => {
        const choice = h("button", { type: "button", "aria-pressed": "false" }, reason);
        choice.addEventListener("click", () => this.#choose(reason));
        return choice;
      }),
    );
    this.#choose("");
    this.#dialog.showModal();
  }

  /** @param {string} reason */
  #choose(reason) {
    if (this.#text.value !== reason) {
      this.#text.value = reason;
    }
    for (const choice of this.#choices.children) {
      choice.setAttribute("aria-pressed", String(choice.textContent === reason));
    }
    this.#go.disabled = reason.trim() === "";
  }
}

customElements.define("reason-dialog", ReasonDialog);
