/** `<job-bar>`: which job, who, how far; and the page's own switches. */

import { h, set, setText } from "../common/dom.js";

/** @typedef {import("../common/types.js").State} State */

const PAGES = [
  { at: "/", name: "Measure" },
  { at: "/decide.html", name: "Decide" },
];

function links() {
  const here = location.pathname === "/index.html" ? "/" : location.pathname;
  return PAGES.map(({ at, name }) => h("a", { href: at, "aria-current": at === here ? "page" : null }, name));
}

export class JobBar extends HTMLElement {
  #name = h("bdi", { class: "job-name" });
  #head = h("bdi");
  #stage = h("bdi");
  #demo = h("strong", { class: "stamp", hidden: true }, "Invented demonstration data");
  #done = h("span", { class: "figure" });
  #bar = h("span", { class: "progress-done" });
  #progress = h("div", { class: "progress", role: "progressbar", "aria-label": "Steps done", "aria-valuemin": 0 }, this.#bar);
  #link = h("span", { class: "link-state" }, "connecting");
  themeButton = h("button", { type: "button", class: "quiet" });

  connectedCallback() {
    this.append(
      h("h1", {}, "GaugeLink"),
      h("nav", { "aria-label": "Pages" }, ...links()),
      h("p", { class: "job" }, this.#name, " ", this.#head),
      h("p", { class: "stage" }, this.#stage),
      this.#demo,
      h("p", { class: "steps" }, this.#done, this.#progress),
      this.#link,
      this.themeButton,
    );
  }

  /** @param {State} state */
  show({ job, progress }) {
    setText(this.#name, job.name);
    setText(this.#head, job.head);
    setText(this.#stage, job.stage);
    this.#demo.hidden = !job.invented;
    const skipped = progress.skipped > 0 ? `, ${progress.skipped} skipped` : "";
    setText(this.#done, `${progress.done} of ${progress.of} done${skipped}`);
    set(this.#progress, { "aria-valuenow": progress.done, "aria-valuemax": progress.of });
    this.#bar.style.width = `${progress.of > 0 ? (100 * progress.done) / progress.of : 0}%`;
  }

  /** @param {boolean} up */
  link(up) {
    setText(this.#link, up ? "connected" : "not connected");
    this.#link.dataset["up"] = String(up);
  }
}

customElements.define("job-bar", JobBar);
