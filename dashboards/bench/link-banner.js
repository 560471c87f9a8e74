/** `<link-banner>`: say once that the line to the bench is lost, and once that it is back. */

import { h, setText } from "../common/dom.js";

const LOST = "No connection to the bench. What you see is not live. Nothing pressed here arrives; the page tries again by itself.";
const BACK = "Connected again. The figures are live.";
const BACK_SHOWN_MS = 6000;

export class LinkBanner extends HTMLElement {
  #words = h("p");
  #spoken = h("p", { class: "unseen", role: "alert" });
  #timer = 0;
  #was = true;

  connectedCallback() {
    this.#words.hidden = true;
    this.append(this.#words, this.#spoken);
  }

  /** @param {boolean} up */
  link(up) {
    const back = up && !this.#was;
    this.#was = up;
    clearTimeout(this.#timer);
    if (up && !back) {
      return; // the first connection is no news
    }
    const words = up ? BACK : LOST;
    setText(this.#words, words);
    setText(this.#spoken, words);
    this.#words.hidden = false;
    this.dataset["up"] = String(up);
    if (up) {
      this.#timer = setTimeout(() => {
        this.#words.hidden = true;
        setText(this.#spoken, "");
      }, BACK_SHOWN_MS);
    }
  }
}

customElements.define("link-banner", LinkBanner);
