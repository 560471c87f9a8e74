/**
 * `<chamber-table>`: the chambers that the sheet limits: what each held when somebody filled it, the
 * volume that counts now, and its compression ratio. A button tells a volume, or takes it back.
 */

import { h, patchList, set, setText } from "../common/dom.js";
import { judged } from "./judged.js";
import { TellDialog } from "./tell-dialog.js";

/** @typedef {import("./release-types.js").Chamber} Chamber */

const TITLES = ["Cylinder", "Filled", "Volume now", "Ratio"];
const CLOSED = "Close it first: valves home in their seats, the hole of its plug or injector stopped, the plate sealed.";

/**
 * What a chamber held when it was filled, and what there is to say of it.
 * @param {Chamber} one
 * @returns {[string, string]}
 */
function toldOf(one) {
  switch (one.state) {
    case "reckoned":
      return ["", "not filled"];
    case "measure again":
      return [one.told, `stale after ${one.void}`];
    default:
      return [one.told, [one.u === "" ? "" : `u ${one.u}`, one.by].filter((text) => text !== "").join(", ")];
  }
}

/** @param {Chamber} one */
function sourceOf(one) {
  return one.state === "measured" ? "measured" : "reckoned";
}

/**
 * What is known of a chamber, for whoever is about to fill it.
 * @param {Chamber} one
 */
function knownOf(one) {
  const [told, about] = toldOf(one);
  const before = told === "" ? "" : `Told: ${told}${about === "" ? "" : ` (${about})`}.`;
  const reckoned = one.volume === "" || one.state === "measured" ? "" : `Reckoned: ${one.volume}.`;
  return [CLOSED, before, reckoned].filter((text) => text !== "").join(" ");
}

/**
 * What the book wants of a chamber; empty where it limits only how far two may lie apart.
 * @param {Chamber} one
 */
function noteOf(one) {
  const volume = one.volume_limit === "" ? "" : `volume ${one.volume_limit}`;
  const ratio = one.ratio_limit === "" ? "" : `compression ratio ${one.ratio_limit}`;
  return [volume, ratio].filter((text) => text !== "").join("; ");
}

/**
 * A figure, judged where the book limits it.
 * @param {string} text
 * @param {Chamber["ratio_verdict"]} verdict
 * @param {string} limit
 * @param {string} [more]
 */
function figure(text, verdict, limit, more = "") {
  if (limit === "" && text !== "") {
    return h("span", {}, text, " ", h("span", { class: "soft" }, more));
  }
  return judged(text, verdict, `${text}, against ${limit}`, more);
}

export class ChamberTable extends HTMLElement {
  #note = h("ul", { class: "soft" });
  #rows = h("tbody");
  #table = h(
    "table",
    { "aria-label": "Chambers" },
    h("thead", {}, h("tr", {}, ...TITLES.map((title) => h("th", { scope: "col" }, title)), h("td"))),
    this.#rows,
  );
  #dialog = new TellDialog({
    id: "chamber-title",
    value: "Volume",
    valueHint: "Volume with its unit, such as 30.4 cm3, 30.4 ml or 1.855 in3",
    uHint: "Its standard uncertainty, such as 0.1 cm3; may stay empty",
    by: "Measured by",
  });
  /** @type {Chamber[]} */
  #chambers = [];

  connectedCallback() {
    if (this.firstChild === null) {
      this.append(h("h3", {}, "Chambers"), this.#note, h("div", { class: "grid-scroll" }, this.#table), this.#dialog);
    }
  }

  /** @param {Chamber[]} [chambers] none where the sheet says nothing of them: then there is no table */
  show(chambers = []) {
    this.#chambers = chambers;
    this.hidden = chambers.length === 0;
    set(this.#table, { "data-ratio": chambers.some((one) => one.ratio !== "" || one.ratio_limit !== "") });
    const notes = new Set(chambers.map(noteOf).filter((text) => text !== ""));
    patchList(this.#note, [...notes], (text) => text, () => h("li"), (row, text) => setText(row, text));
    patchList(this.#rows, chambers, (one) => one.cylinder, (one) => this.#makeRow(one), drawRow);
  }

  /** Ask for the first chamber whose volume has yet to be measured. */
  askNext() {
    const open = this.#chambers.filter((one) => one.state !== "measured");
    // where some have a volume that was reckoned, it is the others that are waited for
    const next = open.find((one) => one.volume === "") ?? open[0];
    if (next !== undefined) {
      this.#ask(next.cylinder);
    }
  }

  /** @param {number} cylinder */
  #ask(cylinder) {
    const one = this.#chambers.find((chamber) => chamber.cylinder === cylinder);
    if (one !== undefined) {
      this.#dialog.ask({
        title: `Chamber of cylinder ${cylinder}`,
        about: knownOf(one),
        place: one.place,
        make: (volume, u, by) => ({ do: "chamber", cylinder, volume, u, by }),
      });
    }
  }

  /**
   * The button outlives each drawing of its row, so that the focus comes back to it.
   * @param {Chamber} one
   */
  #makeRow({ cylinder }) {
    const label = `Tell the volume of the chamber of cylinder ${cylinder}`;
    const button = h("button", { type: "button", class: "quiet", "aria-label": label }, "Tell…");
    button.addEventListener("click", () => this.#ask(cylinder));
    const name = h("th", { scope: "row", class: "figure" }, String(cylinder));
    return h("tr", {}, name, h("td"), h("td", { class: "figure" }), h("td", { class: "figure" }), h("td", {}, button));
  }
}

/**
 * @param {HTMLElement} row
 * @param {Chamber} one
 */
function drawRow(row, one) {
  const [, filled, volume, ratio] = [...row.children];
  const [told, about] = toldOf(one);
  set(row, { "data-state": one.state });
  filled?.replaceChildren(h("bdi", { class: "figure" }, told), " ", h("bdi", { class: "soft" }, about));
  volume?.replaceChildren(figure(one.volume, one.volume_verdict, one.volume_limit, sourceOf(one)));
  ratio?.replaceChildren(...(one.ratio === "" && one.ratio_limit === "" ? [] : [figure(one.ratio, one.ratio_verdict, one.ratio_limit)]));
}

customElements.define("chamber-table", ChamberTable);
