/**
 * `<spring-table>`: the springs that the sheet limits: what each showed on the tester, its load where
 * it works, and the room before its coils touch. A button tells the load, or takes it back.
 */

import { h, patchList, set, setText, svg, tell } from "../common/dom.js";
import { mark } from "../common/marks.js";

/** @typedef {import("./release-types.js").Spring} Spring */

const TITLES = ["Valve", "On the tester", "Installed at", "Load there", "Before the coils touch"];

/**
 * A value with the mark of its verdict.
 * @param {string} text
 * @param {Spring["load_verdict"]} verdict
 * @param {string} words
 */
function judged(text, verdict, words) {
  if (text === "") {
    return [h("span", { class: "soft" }, "open")];
  }
  const picture = svg("svg", { viewBox: "0 0 20 20", class: "look-mark", "aria-hidden": "true" });
  if (verdict !== "") {
    picture.append(mark(verdict, 10, 10, 8, true));
  }
  return [h("span", { class: "judged", title: words }, picture, h("span", {}, text), h("span", { class: "soft" }, verdict))];
}

/**
 * What a spring showed on the tester, and what there is to say of it.
 * @param {Spring} one
 * @returns {[string, string]}
 */
function toldOf(one) {
  switch (one.state) {
    case "not limited":
      return ["", ""];
    case "not tested":
      return ["", "open"];
    case "test again":
      return [one.told, `stale after ${one.void}`];
    default:
      return [one.told, [one.u === "" ? "" : `u ${one.u}`, one.by].filter((text) => text !== "").join(", ")];
  }
}

export class SpringTable extends HTMLElement {
  #note = h("ul", { class: "soft" });
  #rows = h("tbody");
  #title = h("h2", { id: "spring-title" });
  #about = h("p", { class: "soft" });
  #load = h("input", { type: "text", maxlength: 40, autocomplete: "off", "aria-label": "Load" });
  #u = h("input", { type: "text", maxlength: 40, autocomplete: "off", "aria-label": "Standard uncertainty" });
  #by = h("input", { type: "text", maxlength: 60, autocomplete: "off", "aria-label": "Tested by" });
  #reason = h("input", { type: "text", maxlength: 300, autocomplete: "off", "aria-label": "Why it is taken back" });
  #reasonLabel = h("label", {}, h("span", {}, "To take back what was told: why"), this.#reason);
  #go = h("button", { type: "submit", class: "main" }, "Tell it");
  #back = h("button", { type: "button" }, "Take back");
  #cancel = h("button", { type: "button" }, "Leave it");
  #form = h(
    "form",
    { method: "dialog" },
    this.#title,
    this.#about,
    h("label", {}, h("span", {}, "Load with its unit, such as 318 N or 71.5 lbf"), this.#load),
    h("label", {}, h("span", {}, "Standard uncertainty of the tester, such as 2 N; may stay empty"), this.#u),
    h("label", {}, h("span", {}, "Tested by; empty: who stands at the bench"), this.#by),
    this.#reasonLabel,
    h("div", { class: "dialog-end" }, this.#cancel, this.#back, this.#go),
  );
  #dialog = h("dialog", { "aria-labelledby": "spring-title" }, this.#form);
  /** @type {Spring[]} */
  #springs = [];
  /** @type {Spring | null} */
  #asked = null;

  connectedCallback() {
    if (this.firstChild !== null) {
      return;
    }
    const head = h("tr", {}, ...TITLES.map((title) => h("th", { scope: "col" }, title)), h("td"));
    const table = h("table", { "aria-label": "Springs" }, h("thead", {}, head), this.#rows);
    this.append(this.#note, h("div", { class: "grid-scroll" }, table), this.#dialog);
    this.#load.addEventListener("input", () => this.#draw());
    this.#reason.addEventListener("input", () => this.#draw());
    this.#cancel.addEventListener("click", () => this.#dialog.close());
    this.#back.addEventListener("click", () => {
      const place = this.#asked?.place ?? null;
      if (place !== null) {
        this.#dialog.close();
        tell(this, "tick", { do: "strike-out", place, reason: this.#reason.value.trim() });
      }
    });
    this.#form.addEventListener("submit", (event) => {
      event.preventDefault();
      const asked = this.#asked;
      if (asked !== null && !this.#go.disabled) {
        this.#dialog.close();
        const [load, u, by] = [this.#load.value.trim(), this.#u.value.trim(), this.#by.value.trim()];
        tell(this, "tick", { do: "spring", valve: asked.valve, load, u, by });
      }
    });
  }

  /** @param {Spring[]} springs */
  show(springs) {
    this.#springs = springs;
    const limits = new Set(springs.map((one) => noteOf(one)));
    patchList(this.#note, [...limits], (text) => text, () => h("li"), (row, text) => setText(row, text));
    patchList(this.#rows, springs, (one) => one.valve, () => h("tr"), (row, one) => this.#drawRow(row, one));
  }

  /** @param {string} valve */
  ask(valve) {
    const one = this.#springs.find((spring) => spring.valve === valve);
    if (one === undefined) {
      return;
    }
    this.#asked = one;
    setText(this.#title, `Spring of ${one.valve}`);
    const [told, about] = toldOf(one);
    const known = told === "" ? "Nothing told yet." : `Told: ${told} (${about}).`;
    setText(this.#about, `Tested at ${one.tested_at}; cycle it three times first. ${known}`);
    this.#load.value = "";
    this.#reason.value = "";
    const reason = one.place === null;
    this.#reasonLabel.hidden = reason;
    this.#back.hidden = reason;
    this.#draw();
    this.#dialog.showModal();
  }

  #draw() {
    this.#go.disabled = this.#load.value.trim() === "";
    this.#back.disabled = this.#reason.value.trim() === "";
  }

  /**
   * @param {HTMLElement} row
   * @param {Spring} one
   */
  #drawRow(row, one) {
    const button = h("button", { type: "button", class: "quiet", "aria-label": `Tell the load of the spring of ${one.valve}` }, "Tell…");
    button.addEventListener("click", () => this.ask(one.valve));
    const [told, about] = toldOf(one);
    set(row, { "data-state": one.state });
    row.replaceChildren(
      h("th", { scope: "row", class: "figure" }, one.valve),
      h("td", {}, h("bdi", { class: "figure" }, told), " ", h("bdi", { class: "soft" }, about)),
      h("td", { class: "figure" }, one.installed === "" ? h("span", { class: "soft" }, "open") : one.installed),
      h("td", { class: "figure" }, ...(one.state === "not limited" ? [] : judged(one.load, one.load_verdict, one.load_words))),
      h("td", { class: "figure" }, ...(one.room_limit === "" ? [] : judged(one.room, one.room_verdict, one.room_words))),
      h("td", {}, ...(one.state === "not limited" ? [] : [button])),
    );
  }
}

/**
 * What the book wants of a spring.
 * @param {Spring} one
 */
function noteOf(one) {
  const load = one.load_limit === "" ? "" : `load where it works ${one.load_limit}, tested at ${one.tested_at}`;
  const room = one.room_limit === "" ? "" : `room before the coils touch at full lift ${one.room_limit} at least`;
  return `${one.kinds}: ${[load, room].filter((text) => text !== "").join("; ")}`;
}

customElements.define("spring-table", SpringTable);
