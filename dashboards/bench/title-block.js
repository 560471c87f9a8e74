/** `<title-block>`: as on a drawing: what this is, who made it, and what it rests on. */

import { h, set, setText } from "../common/dom.js";

/** @typedef {import("../common/types.js").State} State */

const CAUTION =
  "A verdict here is only as good as limits, zero and position; the engine maker's manual decides; a person releases the head.";
const ROOT_SHOWN = 16;

export class TitleBlock extends HTMLElement {
  #cells = {
    serial: h("bdi"),
    sheet: h("bdi"),
    source: h("bdi"),
    operator: h("bdi"),
    bench: h("bdi"),
    record: h("bdi", { class: "figure" }),
    log: h("bdi"),
  };

  connectedCallback() {
    const cell = (/** @type {string} */ name, /** @type {Node} */ value) =>
      h("div", {}, h("dt", {}, name), h("dd", {}, value));
    const { serial, sheet, source, operator, bench, record, log } = this.#cells;
    this.append(
      h("p", { class: "caution" }, CAUTION),
      h("dl", {}, cell("head no.", serial), cell("limits", sheet), cell("from", source), cell("measured by", operator), cell("bench", bench), cell("record", record), cell("log", log)),
    );
  }

  /** @param {State} state */
  show({ job, record }) {
    setText(this.#cells.serial, job.serial);
    setText(this.#cells.sheet, job.sheet);
    setText(this.#cells.source, job.source);
    setText(this.#cells.operator, job.operator);
    setText(this.#cells.bench, job.bench);
    const root = record.root.slice(0, ROOT_SHOWN);
    setText(this.#cells.record, `${record.size} entries, root ${root}${root === record.root ? "" : "…"}`);
    set(this.#cells.record, { title: record.root });
    setText(this.#cells.log, record.log);
  }
}

customElements.define("title-block", TitleBlock);
