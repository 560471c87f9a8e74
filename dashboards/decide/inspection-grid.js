/**
 * `<inspection-grid>`: what people look at, checks as rows, valves as columns in head order. A touch
 * on what was not looked at ticks it as sound; anything else is asked about.
 */

import { changed, h, set, svg, tell } from "../common/dom.js";

/** @typedef {import("./release-types.js").Check} Check */
/** @typedef {import("./release-types.js").Cell} Cell */
/** @typedef {import("./release-types.js").LookState} LookState */

/** @type {Record<LookState, string>} what stands in a cell, where there is room */
const SHORT = { "not looked at": "open", "look again": "again", sound: "sound", condemned: "condemned" };
/** @type {[LookState, string][]} */
const LEGEND = [
  ["not looked at", "not looked at"],
  ["sound", "sound"],
  ["condemned", "condemned"],
  ["look again", "look again, work since"],
];

/**
 * The mark of a state; told apart by shape alone.
 * @param {LookState} state
 */
function markOf(state) {
  const picture = svg("svg", { viewBox: "0 0 20 20", class: "look-mark", "aria-hidden": "true" });
  if (state === "sound") {
    picture.append(svg("rect", { class: "mark solid", x: 7, y: 2, width: 6, height: 16 }));
  } else if (state === "condemned") {
    picture.append(svg("path", { class: "mark stroke", d: "M3 3L17 17M3 17L17 3", "stroke-width": 4 }));
  } else {
    picture.append(svg("rect", { class: "mark empty", x: 2.5, y: 2.5, width: 15, height: 15 }));
    if (state === "look again") {
      picture.append(svg("path", { class: "mark stroke", d: "M4 16L16 4", "stroke-width": 2 }));
    }
  }
  return picture;
}

/**
 * A cell in words.
 * @param {Check} check
 * @param {Cell} cell
 */
function wordsOf(check, cell) {
  const about = [cell.by === "" ? "" : `by ${cell.by}`, cell.words].filter((text) => text !== "").join(", ");
  return `${cell.valve} ${check.name}: ${cell.state}${about === "" ? "" : `, ${about}`}`.trim();
}

export class InspectionGrid extends HTMLElement {
  #by = h("input", { type: "text", maxlength: 60, autocomplete: "off", "aria-label": "Looked at by" });
  #table = h("table", { "aria-label": "What was looked at" });
  /** @type {Map<string, HTMLButtonElement>} */
  #buttons = new Map();
  /** @type {Check[]} */
  #checks = [];

  connectedCallback() {
    if (this.firstChild !== null) {
      return;
    }
    const legend = LEGEND.map(([state, words]) => h("li", {}, markOf(state), h("span", {}, words)));
    this.append(
      h("label", { class: "looked-by" }, h("span", {}, "Looked at by"), this.#by),
      h("div", { class: "grid-scroll" }, this.#table),
      h("ul", { class: "legend", "aria-label": "Marks" }, ...legend),
    );
    this.#table.addEventListener("keydown", (event) => this.#move(event));
  }

  /** Who looks; empty: who stands at the bench. */
  get by() {
    return this.#by.value.trim();
  }

  /**
   * @param {Check[]} checks
   * @param {string} operator
   */
  show(checks, operator) {
    this.#checks = checks;
    set(this.#by, { placeholder: operator });
    if (changed(this.#table, checks.map((check) => [check.name, check.cells.map((cell) => cell.valve)]))) {
      this.#build(checks);
    }
    for (const check of checks) {
      for (const cell of check.cells) {
        const button = this.#buttons.get(`${check.name} ${cell.valve}`);
        if (button !== undefined && changed(button, cell)) {
          const words = wordsOf(check, cell);
          set(button, { "data-state": cell.state, "aria-label": words, title: words });
          button.replaceChildren(markOf(cell.state), h("span", { class: "cell-word", "aria-hidden": "true" }, SHORT[cell.state]));
        }
      }
    }
  }

  /** @param {Check[]} checks */
  #build(checks) {
    this.#buttons.clear();
    const valves = checks.find((check) => check.of === "valve")?.cells ?? [];
    const head = h("tr", {}, h("td"), ...valves.map((cell) => h("th", { scope: "col", class: "figure" }, cell.valve)));
    const rows = checks.map((check) => {
      const name = h("button", { type: "button", class: "row-name" }, check.name);
      name.addEventListener("click", () => this.#ask(check.name, null));
      const cells = check.cells.map((cell) => {
        const button = h("button", { type: "button", class: "cell", tabindex: -1 });
        this.#buttons.set(`${check.name} ${cell.valve}`, button);
        button.addEventListener("click", () => this.#touch(check.name, cell.valve));
        return h("td", { colspan: check.of === "head" ? valves.length : null }, button);
      });
      return h("tr", {}, h("th", { scope: "row" }, name), ...cells);
    });
    this.#table.replaceChildren(h("thead", {}, head), h("tbody", {}, ...rows));
    const first = this.#table.querySelector("button.cell");
    if (first !== null) {
      set(first, { tabindex: 0 });
    }
  }

  /**
   * @param {string} name
   * @param {string} valve
   */
  #touch(name, valve) {
    const cell = this.#find(name)?.cells.find((one) => one.valve === valve);
    if (cell === undefined) {
      return;
    }
    if (cell.state === "not looked at" || cell.state === "look again") {
      const valves = valve === "" ? [] : [valve];
      tell(this, "tick", { do: "inspect", check: name, valves, sound: true, words: "", by: this.by });
    } else {
      this.#ask(name, valve);
    }
  }

  /**
   * @param {string} name
   * @param {string | null} valve null: those that have still to be looked at
   */
  #ask(name, valve) {
    const check = this.#find(name);
    if (check !== undefined) {
      const open = check.cells.filter((cell) => cell.state === "not looked at" || cell.state === "look again");
      const valves = valve === null ? open.map((cell) => cell.valve) : [valve];
      tell(this, "look", { check, valves });
    }
  }

  /** @param {string} name */
  #find(name) {
    return this.#checks.find((check) => check.name === name);
  }

  /**
   * The arrow keys walk through the grid, which is one stop of the tab key.
   * @param {KeyboardEvent} event
   */
  #move(event) {
    const way = { ArrowRight: [0, 1], ArrowLeft: [0, -1], ArrowDown: [1, 0], ArrowUp: [-1, 0] }[event.key];
    const from = event.target instanceof HTMLElement ? event.target.closest("button.cell") : null;
    if (way === undefined || from === null) {
      return;
    }
    const rows = [...this.#table.querySelectorAll("tbody tr")].map((row) => [...row.querySelectorAll("button.cell")]);
    const at = rows.findIndex((row) => row.includes(from));
    const row = rows[at + (way[0] ?? 0)];
    const to = row?.[Math.min((rows[at]?.indexOf(from) ?? 0) + (way[1] ?? 0), row.length - 1)];
    if (to instanceof HTMLElement) {
      event.preventDefault();
      set(from, { tabindex: -1 });
      set(to, { tabindex: 0 });
      to.focus();
    }
  }
}

customElements.define("inspection-grid", InspectionGrid);
