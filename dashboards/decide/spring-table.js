/**
 * `<spring-table>`: the springs that the sheet limits: what each showed on the tester, its load where
 * it works, and the room before its coils touch. A button tells the load, or takes it back.
 */

import { h, patchList, set, setText } from "../common/dom.js";
import { judged } from "./judged.js";
import { TellDialog } from "./tell-dialog.js";

/** @typedef {import("./release-types.js").Spring} Spring */

const TITLES = ["Valve", "On the tester", "Installed at", "Load there", "Before the coils touch"];

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
  #dialog = new TellDialog({
    id: "spring-title",
    value: "Load",
    valueHint: "Load with its unit, such as 318 N or 71.5 lbf",
    uHint: "Standard uncertainty of the tester, such as 2 N; may stay empty",
    by: "Tested by",
  });
  /** @type {Spring[]} */
  #springs = [];

  connectedCallback() {
    if (this.firstChild !== null) {
      return;
    }
    const head = h("tr", {}, ...TITLES.map((title) => h("th", { scope: "col" }, title)), h("td"));
    const table = h("table", { "aria-label": "Springs" }, h("thead", {}, head), this.#rows);
    this.append(this.#note, h("div", { class: "grid-scroll" }, table), this.#dialog);
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
    const [told, about] = toldOf(one);
    const known = told === "" ? "Nothing told yet." : `Told: ${told}${about === "" ? "" : ` (${about})`}.`;
    this.#dialog.ask({
      title: `Spring of ${valve}`,
      about: `Tested at ${one.tested_at}; cycle it three times first. ${known}`,
      place: one.place,
      make: (load, u, by) => ({ do: "spring", valve, load, u, by }),
    });
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
      h("td", { class: "figure" }, ...(one.state === "not limited" ? [] : [judged(one.load, one.load_verdict, one.load_words)])),
      h("td", { class: "figure" }, ...(one.room_limit === "" ? [] : [judged(one.room, one.room_verdict, one.room_words)])),
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
