/**
 * `<readings-table>`: every reading, newest first. A struck-out one stays, struck through, with
 * its reason. Above stands the tray: what gauges sent that fits no step asked for. Touching a
 * row opens it: all that is known of the reading, and what can be done with it.
 */

import { h, patchList, set, setText, tell, timeOfDay } from "../common/dom.js";
import { LimitScale } from "../common/limit-scale.js";
import { placeWords, surpriseAt, valueWords } from "./next-step.js";
import { REASONS } from "./reason-dialog.js";

/** @typedef {import("../common/types.js").State} State */
/** @typedef {import("../common/types.js").Reading} Reading */
/** @typedef {import("../common/types.js").Next} Next */
/** @typedef {import("../common/types.js").Foretold} Foretold */
/** @typedef {{reading: Reading, open: boolean, offers: boolean, next: Next | null, up: boolean, surprise: Foretold | null}} Row */

const COLUMNS = ["valve", "what", "reading", "against limit", "gauge", "time"];

/** @param {State} state */
function trayWords({ tray, tray_count: count }) {
  return count > tray.length ? `${count}, of which the newest ${tray.length}` : String(count);
}

export class ReadingsTable extends HTMLElement {
  #filter = h("button", { type: "button", class: "quiet", hidden: true });
  #tray = h("div", { class: "tray", hidden: true, role: "group", "aria-label": "Tray" });
  #trayTitle = h("h2");
  #trayRows = h("table");
  #table = h("table", {}, h("thead", {}, h("tr", {}, ...COLUMNS.map((name) => h("th", { scope: "col", class: name.replace(" ", "-") }, name)))));
  #none = h("p", { class: "soft" }, "None yet.");

  connectedCallback() {
    const rows = h("div", { class: "tray-rows", tabindex: 0, role: "region", "aria-label": "Values in the tray" }, this.#trayRows);
    this.#tray.append(this.#trayTitle, rows);
    this.append(this.#filter, this.#tray, h("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Readings" }, this.#table), this.#none);
    this.#filter.addEventListener("click", () => tell(this, "pick-valve", null));
    this.addEventListener("click", (event) => {
      const target = event.target instanceof Element ? event.target : null;
      const row = target?.closest("tr.row")?.closest("tbody");
      if (row instanceof HTMLElement) {
        const place = Number(row.dataset["place"]);
        tell(this, "pick-reading", row.dataset["open"] === undefined ? place : null);
      }
    });
  }

  /**
   * @param {State} state
   * @param {{valve: string | null, place: number | null, up: boolean}} view
   */
  show(state, view) {
    const { valve, place, up } = view;
    const row = (/** @type {Reading} */ reading, inTray = false) => {
      const open = reading.place === place;
      const offers = open || inTray;
      return { reading, open, offers, next: offers ? state.next : null, up, surprise: surpriseAt(state.forecast, reading.place) };
    };
    const wanted = state.readings.filter((reading) => valve === null || reading.valve === valve);
    const key = (/** @type {Row} */ one) => one.reading.place;
    // A row that can open is two table rows, so each reading is a table body of its own.
    patchList(this.#table, wanted.map((one) => row(one)), key, makeRow, drawRow);
    patchList(this.#trayRows, state.tray.map((one) => row(one, true)), key, makeRow, drawRow);
    this.#tray.hidden = state.tray.length === 0;
    setText(this.#trayTitle, `Tray, ${trayWords(state)}: sent, but not for the step that was asked`);
    this.#none.hidden = wanted.length > 0;
    this.#filter.hidden = valve === null;
    setText(this.#filter, valve === null ? "" : `Only ${valve}: show all again`);
  }
}

function makeRow() {
  const scale = new LimitScale();
  set(scale, { size: "row" });
  return h(
    "tbody",
    {},
    h(
      "tr",
      { class: "row" },
      h("td", { class: "valve" }, h("button", { type: "button", class: "figure" })),
      h("td", { class: "what" }, h("bdi", { class: "what-words" }), h("bdi", { class: "why soft" }), h("bdi", { class: "surprise" })),
      h("td", { class: "reading figure" }, h("bdi"), h("bdi", { class: "soft" })),
      h("td", { class: "against-limit" }, scale, h("span", { class: "verdict" })),
      h("td", { class: "gauge" }, h("bdi")),
      h("td", { class: "time figure" }),
    ),
  );
}

/**
 * @param {HTMLElement} body
 * @param {Row} row
 */
function drawRow(body, { reading, open, offers, next, up, surprise }) {
  const part = (/** @type {string} */ name) => /** @type {HTMLElement} */ (body.querySelector(name));
  const plain = reading.state === "good";
  const word = plain ? (reading.scale?.verdict ?? "") : reading.state;
  set(body, { "data-place": reading.place, "data-state": reading.state, "data-kind": reading.kind, "data-open": open });
  const touch = part(".valve button");
  setText(touch, reading.valve ?? "–");
  set(touch, { "aria-expanded": String(open), "aria-label": `${placeWords(reading)}, place ${reading.place}` });
  const what = [reading.characteristic, reading.station, reading.direction].filter(Boolean).join(", ");
  setText(part(".what-words"), what === "" && reading.reason === "" ? "not asked for" : what);
  setText(part(".why"), reading.reason);
  const notes = [surprise === null ? "" : `surprise: ${surprise.words}`, reading.doubt === "" ? "" : `doubtful: ${reading.doubt}`];
  setText(part(".surprise"), notes.filter((text) => text !== "").join("; "));
  const value = part(".reading");
  setText(/** @type {Element} */ (value.children[0]), reading.text);
  setText(/** @type {Element} */ (value.children[1]), valueWords(reading).slice(reading.text.length));
  const scale = /** @type {LimitScale} */ (part("limit-scale"));
  scale.scale = plain ? reading.scale : null;
  setText(part(".verdict"), word);
  set(part(".verdict"), { "data-verdict": word });
  setText(part(".gauge bdi"), reading.gauge);
  setText(part(".time"), timeOfDay(reading.utc));
  body.querySelector(".more")?.remove();
  if (offers) {
    body.append(more(reading, open, next, up, surprise));
  }
}

/**
 * The part of a row that opens: facts, and what can be done.
 * @param {Reading} reading
 * @param {boolean} open
 * @param {Next | null} next
 * @param {boolean} up
 * @param {Foretold | null} surprise
 */
function more(reading, open, next, up, surprise) {
  const cell = h("td", { colspan: COLUMNS.length });
  if (open) {
    /** @type {[string, string][]} */
    const facts = [
      ["place in the record", String(reading.place)],
      ["gauge", reading.gauge],
      ["taken by", reading.operator],
      ["at", reading.utc],
      ["as it came", reading.raw],
      ["expected", surprise === null ? "" : `${surprise.expected} after ${surprise.work}, ${surprise.before} before`],
      ["it can be that", surprise?.meanings.join(", or ") ?? ""],
      ["answer", surprise === null ? "" : surprise.answer || "none yet: measure it once more; the head is not released without one"],
    ];
    const shown = facts.filter(([, text]) => text !== "");
    cell.append(h("dl", {}, ...shown.map(([name, text]) => h("div", {}, h("dt", {}, name), h("dd", {}, h("bdi", {}, text))))));
  }
  const about = `${placeWords(reading)}: ${valueWords(reading)}`;
  const offer = (/** @type {string} */ label, /** @type {object} */ question) => {
    const button = h("button", { type: "button", disabled: !up }, label);
    button.addEventListener("click", () => tell(button, "ask-why", { about, ...question }));
    cell.append(button);
  };
  if (reading.state === "unassigned" && next !== null) {
    const make = (/** @type {string} */ reason) => ({ do: "assign", place: reading.place, step: next.step, reason });
    offer("Give to the step asked now…", { title: "Give it to this step", about: `${about}, to: ${next.words}`, reasons: REASONS.assign, make });
  }
  if (reading.kind !== "skipped" && reading.kind !== "refused" && reading.state !== "struck out") {
    const make = (/** @type {string} */ reason) => ({ do: "strike-out", place: reading.place, reason });
    offer("Strike out…", { title: "Strike this reading out", reasons: REASONS["strike-out"], make });
  }
  return h("tr", { class: "more" }, cell);
}

customElements.define("readings-table", ReadingsTable);
