/**
 * `<live-value>`: what the gauge shows now, in figures to be read from two metres, and
 * `<gauge-list>`: every gauge of the bench, here or lost.
 *
 * Size: the font is as large as the figure's length leaves room for, at most 13 % of the page's
 * width, and a digit is 0.7 of the font high. A 24-inch 16:9 screen is 531 mm wide; there the digits
 * of 7.965 stand some 41 mm high and those of -12.3456 some 25 mm, at 1280 and at 1920 pixels.
 * 22 mm are wanted: from 2 m that is 38 minutes of arc (22/2000 rad); common practice for signs,
 * no source, is 20 or more.
 */

import { h, patchList, set, setText } from "../common/dom.js";

/** @typedef {import("../common/types.js").State} State */
/** @typedef {import("../common/types.js").Live} Live */
/** @typedef {import("../common/types.js").Gauge} Gauge */

/**
 * How wide a figure can come out, in parts of its font's size, whatever face the system has.
 * @param {string} text
 */
function widthOf(text) {
  return [...text].reduce((sum, sign) => sum + (".,'’ ".includes(sign) ? 0.34 : 0.64), 0);
}

export class LiveValue extends HTMLElement {
  #gauge = h("bdi", { class: "gauge-id figure" });
  #title = h("bdi", { class: "gauge-title" });
  #text = h("bdi", { class: "live-text figure" });
  #unit = h("bdi", { class: "live-unit" });
  #note = h("p", { class: "live-note" });
  /** @type {Gauge[]} */
  #gauges = [];
  /** @type {Map<string, Live>} the newest of every gauge */
  #lives = new Map();
  /** @type {Live | null} the newest of all */
  #newest = null;
  #asked = "";
  #up = true;

  connectedCallback() {
    this.append(
      h("p", { class: "live-gauge" }, this.#gauge, this.#title),
      h("p", { class: "live-figure" }, this.#text, this.#unit),
      this.#note,
    );
  }

  /** @param {State} state */
  show(state) {
    this.#gauges = state.gauges;
    this.#asked = state.next?.gauge ?? "";
    if (state.live !== null) {
      this.#keep(state.live);
    }
    this.#draw();
  }

  /** @param {Live} live */
  live(live) {
    this.#keep(live);
    this.#draw();
  }

  /** @param {Live} live */
  #keep(live) {
    this.#newest = live;
    this.#lives.set(live.gauge, live);
  }

  /**
   * Show the gauge that the step asks for and no other, however much others send: on a bench some
   * gauges speak all the time. While nothing is asked for, show whichever spoke last.
   */
  #draw() {
    const live = this.#asked === "" ? this.#newest : (this.#lives.get(this.#asked) ?? null);
    const id = live?.gauge ?? this.#asked;
    const gauge = this.#gauges.find((one) => one.id === id);
    const text = live === null || live.text === "" ? "–" : live.text;
    setText(this.#gauge, id === "" ? "–" : id);
    setText(this.#title, gauge?.title ?? "");
    setText(this.#text, text);
    setText(this.#unit, live?.unit ?? "");
    // A dash as large as a figure is a black bar.
    this.#text.style.setProperty("--ems", String(text === "–" ? 8 : Math.max(widthOf(text), 2)));
    this.#mind(live, gauge);
  }

  /** @param {boolean} up */
  link(up) {
    this.#up = up;
    this.#draw();
  }

  /**
   * @param {Live | null} live
   * @param {Gauge | undefined} gauge
   */
  #mind(live, gauge) {
    const mode = live?.mode ?? "actual";
    let note = "";
    if (!this.#up) {
      note = "not live: no connection to the bench";
    } else if (gauge?.state === "lost") {
      note = `not live: gauge ${gauge.id} is lost, look at its plug`;
    } else if (gauge?.state === "back, confirm the position") {
      note = `gauge ${gauge.id} was lost and is back: see that it is at the place asked for, then confirm`;
    } else if (gauge?.state === "check the zero") {
      note = `the zero of ${gauge.id} is in doubt: check it on its master, then say so; until then its values wait in the tray`;
    } else if (mode !== "actual" && mode !== "") {
      note = `the gauge shows "${mode}", not the actual value; change it at the gauge`;
    } else if (live === null) {
      note = this.#asked === "" ? "no gauge has sent anything yet" : `${this.#asked} has not sent anything yet`;
    } else if (gauge?.state === "battery low") {
      note = `the battery of ${gauge.id} is low: change it; no sweep is recorded with it`;
    }
    setText(this.#note, note);
    set(this, { "data-stale": !this.#up || gauge?.state === "lost" });
  }
}

export class GaugeList extends HTMLElement {
  #list = h("ul");

  connectedCallback() {
    this.append(this.#list);
  }

  /** @param {State} state */
  show(state) {
    patchList(
      this.#list,
      state.gauges,
      (gauge) => gauge.id,
      () => h("li", {}, h("bdi", { class: "figure" }), h("span")),
      (row, gauge) => {
        const [id, note] = row.children;
        if (id && note) {
          setText(id, gauge.id);
          setText(note, gauge.link === "" ? gauge.state : `${gauge.state}, ${gauge.link}`);
        }
        set(row, { "data-state": gauge.state, title: `${gauge.title}, ${gauge.serial}, ${gauge.port}` });
      },
    );
  }
}

customElements.define("live-value", LiveValue);
customElements.define("gauge-list", GaugeList);
