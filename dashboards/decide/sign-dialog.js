/**
 * `<sign-dialog>`: whoever signs gives a name, and a reason where one is needed. What is signed
 * stands above.
 */

import { h, setText, tell } from "../common/dom.js";

/** @typedef {import("../common/types.js").Action} Action */

/**
 * @typedef {object} Paper what is to be signed
 * @property {string} title
 * @property {string[]} about
 * @property {string} why what the second field is for
 * @property {boolean} named whether a name is needed
 * @property {boolean} reasoned whether the second field is needed
 * @property {string} go
 * @property {(by: string, reason: string) => Action} make
 */

export class SignDialog extends HTMLElement {
  #title = h("h2", { id: "sign-title" });
  #about = h("div", { class: "about" });
  #by = h("input", { type: "text", maxlength: 60, autocomplete: "off", "aria-label": "Name" });
  #byLabel = h("label", {}, h("span", {}, "Name of the person who signs"), this.#by);
  #reason = h("input", { type: "text", maxlength: 300, autocomplete: "off", "aria-label": "Reason" });
  #why = h("span");
  #go = h("button", { type: "submit", class: "main" });
  #cancel = h("button", { type: "button" }, "Leave it");
  #form = h(
    "form",
    { method: "dialog" },
    this.#title,
    this.#about,
    this.#byLabel,
    h("label", {}, this.#why, this.#reason),
    h("div", { class: "dialog-end" }, this.#cancel, this.#go),
  );
  #dialog = h("dialog", { "aria-labelledby": "sign-title" }, this.#form);
  /** @type {Paper | null} */
  #paper = null;

  connectedCallback() {
    this.append(this.#dialog);
    this.#cancel.addEventListener("click", () => this.#dialog.close());
    this.#by.addEventListener("input", () => this.#draw());
    this.#reason.addEventListener("input", () => this.#draw());
    this.#form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (this.#paper !== null && !this.#go.disabled) {
        this.#dialog.close();
        tell(this, "tick", this.#paper.make(this.#by.value.trim(), this.#reason.value.trim()));
      }
    });
  }

  /** @param {Paper} paper */
  ask(paper) {
    this.#paper = paper;
    setText(this.#title, paper.title);
    this.#about.replaceChildren(...paper.about.map((line) => h("p", {}, h("bdi", {}, line))));
    setText(this.#why, paper.why);
    setText(this.#go, paper.go);
    this.#byLabel.hidden = !paper.named;
    this.#by.value = ""; // nobody signs under the name of whoever signed before
    this.#reason.value = "";
    this.#draw();
    this.#dialog.showModal();
  }

  #draw() {
    const paper = this.#paper;
    const lacks = (paper?.named && this.#by.value.trim() === "") || (paper?.reasoned && this.#reason.value.trim() === "");
    this.#go.disabled = lacks === true;
  }
}

customElements.define("sign-dialog", SignDialog);
