/**
 * `<tell-dialog>`: what a person measured with a tool that is no gauge of the bench is told with its
 * unit, or taken back with a reason.
 */

import { h, setText, tell } from "../common/dom.js";

/** @typedef {import("../common/types.js").Action} Action */

/**
 * @typedef {object} Words what the fields are for
 * @property {string} id of the title
 * @property {string} value
 * @property {string} valueHint
 * @property {string} uHint
 * @property {string} by
 *
 * @typedef {object} Asked what is to be told this time
 * @property {string} title
 * @property {string} about
 * @property {number | null} place of what was told before
 * @property {(value: string, u: string, by: string) => Action} make
 */

/**
 * @param {string} name
 * @param {number} most
 */
function field(name, most) {
  return h("input", { type: "text", maxlength: most, autocomplete: "off", "aria-label": name });
}

export class TellDialog extends HTMLElement {
  #title = h("h2");
  #about = h("bdi");
  /** @type {HTMLInputElement} */
  #value;
  #u = field("Standard uncertainty", 40);
  /** @type {HTMLInputElement} */
  #by;
  #reason = field("Why it is taken back", 300);
  #reasonLabel = h("label", {}, h("span", {}, "To take back what was told: why"), this.#reason);
  #go = h("button", { type: "submit", class: "main" }, "Tell it");
  #back = h("button", { type: "button" }, "Take back");
  #cancel = h("button", { type: "button" }, "Leave it");
  /** @type {HTMLDialogElement} */
  #dialog;
  /** @type {Asked | null} */
  #asked = null;

  /** @param {Words} words */
  constructor(words) {
    super();
    this.#title.id = words.id;
    this.#value = field(words.value, 40);
    this.#by = field(words.by, 60);
    const form = h(
      "form",
      { method: "dialog" },
      this.#title,
      h("p", { class: "soft" }, this.#about),
      h("label", {}, h("span", {}, words.valueHint), this.#value),
      h("label", {}, h("span", {}, words.uHint), this.#u),
      h("label", {}, h("span", {}, `${words.by}; empty: who stands at the bench`), this.#by),
      this.#reasonLabel,
      h("div", { class: "dialog-end" }, this.#cancel, this.#back, this.#go),
    );
    this.#dialog = h("dialog", { "aria-labelledby": words.id }, form);
    this.#value.addEventListener("input", () => this.#draw());
    this.#reason.addEventListener("input", () => this.#draw());
    this.#cancel.addEventListener("click", () => this.#dialog.close());
    this.#back.addEventListener("click", () => {
      const place = this.#asked?.place ?? null;
      if (place !== null) {
        this.#dialog.close();
        tell(this, "tick", { do: "strike-out", place, reason: this.#reason.value.trim() });
      }
    });
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (this.#asked !== null && !this.#go.disabled) {
        this.#dialog.close();
        tell(this, "tick", this.#asked.make(this.#value.value.trim(), this.#u.value.trim(), this.#by.value.trim()));
      }
    });
  }

  connectedCallback() {
    this.append(this.#dialog);
  }

  /** @param {Asked} asked */
  ask(asked) {
    this.#asked = asked;
    setText(this.#title, asked.title);
    setText(this.#about, asked.about);
    // who measures, and how well, stays for the next one; what was measured does not
    this.#value.value = "";
    this.#reason.value = "";
    this.#reasonLabel.hidden = asked.place === null;
    this.#back.hidden = asked.place === null;
    this.#draw();
    this.#dialog.showModal();
  }

  #draw() {
    this.#go.disabled = this.#value.value.trim() === "";
    this.#back.disabled = this.#reason.value.trim() === "";
  }
}

customElements.define("tell-dialog", TellDialog);
