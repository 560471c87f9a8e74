/**
 * `<verdict-list>`: what is outside or undecided, or, for a valve that was touched, all of its
 * verdicts, each with the limit, where the limit stands in the book, and why; beside a clearance
 * over its limit whose fault it is, valve or guide, and beside what is undecided what would decide;
 * `<message-list>`: what the bench has to say.
 */

import { h, patchList, set, setText, timeOfDay } from "../common/dom.js";
import { LimitScale } from "../common/limit-scale.js";

/** @typedef {import("../common/types.js").State} State */
/** @typedef {import("../common/types.js").Verdict} Verdict */
/** @typedef {import("../common/types.js").Fault} Fault */
/** @typedef {import("../common/types.js").Decider} Decider */
/** @typedef {Verdict & {fault: Fault | undefined, decider: Decider | undefined}} Row */
/** @typedef {import("../common/types.js").Message} Message */

export class VerdictList extends HTMLElement {
  #title = h("h2");
  #list = h("ul");
  #none = h("p", { class: "soft" });

  connectedCallback() {
    this.append(this.#title, this.#list, this.#none);
  }

  /**
   * @param {State} state
   * @param {{valve: string | null}} view
   */
  show({ verdicts, faults, deciders }, { valve }) {
    const rows = verdicts.map((one, number) => ({
      ...one,
      fault: faults.find((fault) => fault.verdict === number),
      decider: deciders.find((decider) => decider.verdict === number),
    }));
    const shown = rows.filter((one) => (valve === null ? one.verdict !== "within" : one.valve === valve));
    setText(this.#title, valve === null ? "Outside or undecided" : `Verdicts of ${valve}`);
    setText(this.#none, valve === null ? "Nothing so far." : "None yet.");
    this.#none.hidden = shown.length > 0;
    patchList(this.#list, shown, keyOf, makeVerdict, drawVerdict);
  }
}

/** @param {Verdict} one */
const keyOf = (one) => `${one.valve}/${one.characteristic}/${one.method}`;

function makeVerdict() {
  const scale = new LimitScale();
  set(scale, { size: "row" });
  return h(
    "li",
    {},
    h("bdi", { class: "whose figure" }),
    h("bdi", { class: "what" }),
    h("bdi", { class: "value figure" }),
    scale,
    h("span", { class: "verdict" }),
    h("bdi", { class: "because soft" }),
    h("p", { class: "advice" }, h("strong"), h("bdi")),
    h("p", { class: "decider" }, h("span", {}, "To decide it: "), h("bdi")),
  );
}

/**
 * @param {HTMLElement} node
 * @param {Row} one
 */
function drawVerdict(node, one) {
  const part = (/** @type {string} */ name) => /** @type {HTMLElement} */ (node.querySelector(name));
  setText(part(".whose"), one.valve ?? "head");
  setText(part(".what"), one.method === "" ? one.characteristic : `${one.characteristic}, ${one.method}`);
  setText(part(".value"), `${one.text} ${one.unit}`);
  const scale = /** @type {LimitScale} */ (part("limit-scale"));
  scale.scale = one.scale;
  setText(part(".verdict"), one.verdict);
  set(part(".verdict"), { "data-verdict": one.verdict });
  setText(part(".because"), [one.limit, one.source, one.reason].filter((text) => text !== "").join("; "));
  const advice = part(".advice");
  advice.hidden = one.fault === undefined;
  if (one.fault !== undefined) {
    set(advice, { "data-sure": one.fault.sure });
    setText(part(".advice strong"), one.fault.answer === null ? "Valve or guide?" : one.fault.words);
    const rest = one.fault.answer === null ? [one.fault.words, ...one.fault.remarks] : one.fault.remarks;
    setText(part(".advice bdi"), rest.join("; "));
  }
  part(".decider").hidden = one.decider === undefined;
  setText(part(".decider bdi"), one.decider?.words ?? "");
}

export class MessageList extends HTMLElement {
  #list = h("ul", { role: "log", "aria-label": "Messages" });

  connectedCallback() {
    this.append(h("h2", {}, "Messages"), this.#list);
  }

  /** @param {State} state */
  show({ messages }) {
    this.hidden = messages.length === 0;
    patchList(
      this.#list,
      messages,
      (message) => `${message.utc} ${message.words}`,
      () => h("li", {}, h("span", { class: "figure soft" }), h("strong", {}), h("bdi")),
      (row, message) => {
        const [time, level, words] = row.children;
        if (time && level && words) {
          setText(time, timeOfDay(message.utc));
          setText(level, message.level === "warning" ? "Warning" : "");
          setText(words, message.words);
        }
        set(row, { "data-level": message.level });
      },
    );
  }
}

customElements.define("verdict-list", VerdictList);
customElements.define("message-list", MessageList);
