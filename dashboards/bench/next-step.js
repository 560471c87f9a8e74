/**
 * `<next-step>`: what to measure now, in words and as a line drawing with the place marked;
 * `<last-reading>`: how the reading before it stands to its limit, large.
 */

import { h, set, setText } from "../common/dom.js";
import { LimitScale, divisionText } from "../common/limit-scale.js";
import { PartDrawing } from "./part-drawing.js";
import { sweepResult, sweepScale } from "./sweep-figure.js";

/** @typedef {import("../common/types.js").State} State */
/** @typedef {import("../common/types.js").Reading} Reading */

/**
 * A reading's place in words: "3E stem diameter, middle, across".
 * @param {{valve: string | null, characteristic: string, station: string, direction: string}} of
 */
export function placeWords(of) {
  const parts = [of.characteristic, of.station, of.direction].filter((part) => part !== "");
  return `${of.valve ?? "head"} ${parts.join(", ")}`;
}

/**
 * A reading's figure with its unit; a sweep's own text needs none.
 * @param {Reading} reading
 */
export function valueWords({ kind, text, unit }) {
  return text === "" || unit === "" || kind === "sweep" ? text : `${text} ${unit}`;
}

/**
 * The surprise that a reading is after work; null where it is none.
 * @param {import("../common/types.js").Foretold[]} forecast
 * @param {number} place
 */
export function surpriseAt(forecast, place) {
  return forecast.find((one) => one.place === place && one.word === "surprise") ?? null;
}

export class NextStep extends HTMLElement {
  #valve = h("bdi", { class: "next-valve figure" });
  #words = h("bdi");
  #again = h("p", { class: "again", hidden: true });
  #gauge = h("bdi");
  #limit = h("bdi");
  #expected = h("p", { class: "expected", hidden: true });
  #decide = h("a", { class: "onward", href: "/decide.html", hidden: true }, "Decide…");
  #drawing = new PartDrawing();

  connectedCallback() {
    this.append(
      h(
        "div",
        { class: "next-words", "aria-live": "polite" },
        h("p", { class: "next-line" }, this.#valve, this.#words),
        this.#again,
        h("p", {}, this.#gauge),
        h("p", { class: "soft" }, this.#limit),
        this.#expected,
        this.#decide,
      ),
      this.#drawing,
    );
  }

  /** @param {State} state */
  show(state) {
    const { next } = state;
    this.#drawing.hidden = next === null;
    this.#again.hidden = next === null || next.again === "";
    this.#valve.hidden = next === null || next.valve === null;
    this.#expected.hidden = next === null || next.expected === "";
    this.#decide.hidden = next !== null || !state.finished;
    if (next === null) {
      setText(this.#words, state.finished ? "Every step is done." : "Nothing is asked for at the moment.");
      setText(this.#gauge, state.finished ? summary(state) : "");
      setText(this.#limit, state.finished ? "Look the readings over; then decide what to do with the head." : "");
      return;
    }
    setText(this.#valve, next.valve ?? "");
    setText(this.#words, next.words);
    setText(this.#again, `Again: ${next.again}`);
    const how = next.sweep ? "sweep with" : "with";
    setText(this.#gauge, `${how} ${next.gauge}${next.gauge_kind === "" ? "" : `, ${next.gauge_kind}`}`);
    setText(this.#limit, next.limit_words === "" ? "no limit in the sheet" : next.limit_words);
    setText(this.#expected, next.expected);
    this.#drawing.show(next, state.head.face);
  }
}

/** @param {State} state */
function summary({ verdicts }) {
  const count = (/** @type {string} */ word) => verdicts.filter((one) => one.verdict === word).length;
  return `Verdicts: ${count("within")} within, ${count("outside")} outside, ${count("undecided")} undecided.`;
}

export class LastReading extends HTMLElement {
  #title = h("h2", {}, "Last reading");
  #what = h("bdi");
  #value = h("bdi", { class: "figure last-value" });
  #word = h("span", { class: "verdict last-word" });
  #reason = h("bdi", { class: "soft" });
  #scale = new LimitScale();
  #spoken = h("p", { class: "unseen", "aria-live": "polite" });

  connectedCallback() {
    set(this.#scale, { size: "large" });
    this.append(
      h("div", { class: "last-head" }, this.#title, this.#what),
      this.#scale,
      h("p", { class: "last-line" }, this.#value, this.#word),
      this.#reason,
      this.#spoken,
    );
  }

  /** @param {State} state */
  show({ last, sweep, forecast }) {
    this.hidden = last === null;
    if (last === null) {
      return;
    }
    // The row of a sweep need not hold its result; the sweep itself does.
    const own = last.kind === "sweep" && sweep?.place === last.place ? sweep : null;
    const scale = last.state === "good" ? (last.scale ?? (own && sweepScale(own))) : null;
    const word = last.state === "good" ? (scale?.verdict ?? "") : last.state;
    const value = (own && sweepResult(own)) || valueWords(last);
    setText(this.#what, placeWords(last));
    setText(this.#value, value);
    setText(this.#word, word);
    this.#word.hidden = word === "";
    set(this.#word, { "data-verdict": word });
    const surprise = last.state === "good" ? surpriseAt(forecast, last.place) : null;
    const notes = [
      surprise === null ? "" : `surprise: ${surprise.words}`,
      last.doubt === "" ? "" : `doubtful: ${last.doubt}`,
      last.reason,
      word === "undecided" ? "its uncertainty reaches across the limit" : "",
      scale === null ? "" : divisionText(scale, last.unit),
    ];
    setText(this.#reason, notes.filter((text) => text !== "").join("; "));
    this.#scale.scale = scale;
    setText(this.#spoken, `${placeWords(last)}: ${value} ${word}${surprise === null ? "" : ", a surprise"}`);
  }
}

customElements.define("next-step", NextStep);
customElements.define("last-reading", LastReading);
