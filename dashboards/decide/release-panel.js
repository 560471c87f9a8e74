/**
 * `<release-panel>`: what stands against releasing the head, what was looked at, what was signed;
 * and the release itself. It asks the bench by the same actions as any page.
 */

import { h, patchList, set, setText } from "../common/dom.js";
import { act } from "../common/stream.js";
import { ChamberTable } from "./chamber-table.js";
import { InspectionGrid } from "./inspection-grid.js";
import { LookDialog } from "./look-dialog.js";
import { SignDialog } from "./sign-dialog.js";
import { SpringTable } from "./spring-table.js";

/** @typedef {import("../common/types.js").State} State */
/** @typedef {import("../common/types.js").Action} Action */
/** @typedef {import("./release-types.js").Release} Release */
/** @typedef {import("./release-types.js").Group} Group */
/** @typedef {import("./release-types.js").Against} Against */
/** @typedef {import("./release-types.js").Check} Check */
/** @typedef {import("./release-types.js").Deviation} Deviation */

/** Kinds that are put right by looking. */
const LOOKED = ["condemned", "not inspected"];
/** What is put right by telling the load of a spring. */
const TESTED = "spring load";
/** What is put right by filling a chamber and telling what it held. */
const FILLED = "chamber volume";

/**
 * @param {Against} row
 * @returns {string}
 */
function ownerOf(row) {
  return row.valves.length === 0 ? row.what : `${row.valves.join(", ")} ${row.what}`;
}

export class ReleasePanel extends HTMLElement {
  #sentence = h("p", { class: "release-sentence" });
  #go = h("button", { type: "button", class: "main" }, "Release this head…");
  #back = h("button", { type: "button" }, "Take the release back…");
  #why = h("p", { class: "soft", id: "release-why" });
  #answer = h("p", { class: "answer", role: "status" });
  #grid = new InspectionGrid();
  #springsTitle = h("h3", {}, "Springs");
  #springs = new SpringTable();
  #chambers = new ChamberTable();
  #groups = h("div", { class: "against" });
  #none = h("p", { class: "soft" }, "Nothing.");
  #signed = h("ul", { class: "signed" });
  #signedTitle = h("h3", {}, "Signed deviations");
  #look = new LookDialog();
  #sign = new SignDialog();
  /** @type {State | null} */
  #state = null;
  #up = true;

  connectedCallback() {
    set(this.#go, { "aria-describedby": "release-why" });
    this.append(
      this.#sentence,
      h("div", { class: "release-go" }, this.#go, this.#back, this.#why),
      this.#answer,
      h("h3", {}, "Looked at"),
      this.#grid,
      this.#springsTitle,
      this.#springs,
      this.#chambers,
      h("h3", {}, "What stands against it"),
      this.#none,
      this.#groups,
      this.#signedTitle,
      this.#signed,
      this.#look,
      this.#sign,
    );
    this.addEventListener("tick", (event) => void this.#ask(/** @type {CustomEvent<Action>} */ (event).detail));
    this.addEventListener("look", (event) => {
      const { check, valves } = /** @type {CustomEvent<{check: Check, valves: string[]}>} */ (event).detail;
      this.#look.ask(check, valves, this.#grid.by);
    });
    this.#go.addEventListener("click", () => this.#askRelease());
    this.#back.addEventListener("click", () => this.#takeBack("Take the release back", this.#state?.release.place ?? null));
    this.#draw();
  }

  /** @param {State} state */
  show(state) {
    this.#state = state;
    this.#draw();
  }

  /** @param {boolean} up */
  link(up) {
    this.#up = up;
    this.#draw();
  }

  #draw() {
    const release = this.#state?.release;
    this.#go.disabled = !this.#up || release === undefined || release.count > 0 || release.released;
    this.#back.disabled = !this.#up;
    this.#back.hidden = release?.released !== true;
    this.#go.hidden = release?.released === true;
    if (release === undefined || this.#state === null) {
      return;
    }
    setText(this.#sentence, `${release.sentence[0]?.toUpperCase() ?? ""}${release.sentence.slice(1)}`);
    set(this.#sentence, { "data-released": release.released });
    setText(this.#why, this.#whyNot(release));
    this.#grid.show(release.checks, this.#state.job.operator);
    this.#springsTitle.hidden = release.springs.length === 0;
    this.#springs.hidden = release.springs.length === 0;
    this.#springs.show(release.springs);
    this.#chambers.show(release.chambers);
    this.#none.hidden = release.groups.length > 0;
    patchList(this.#groups, release.groups, (group) => group.kind, makeGroup, (node, group) => this.#drawGroup(node, group));
    this.#signedTitle.hidden = release.deviations.length === 0;
    patchList(this.#signed, release.deviations, (one) => one.place, makeRow, (node, one) => this.#drawSigned(node, one));
  }

  /** @param {Release} release */
  #whyNot(release) {
    if (!this.#up) {
      return "The bench does not answer.";
    }
    if (release.released) {
      return "Work, a new reading or a condemned part takes the release back.";
    }
    if (release.count > 0) {
      return `Not yet: ${release.count === 1 ? "1 thing stands" : `${release.count} things stand`} against it.`;
    }
    return "Nothing on record stands against it. A qualified person releases the head, not this program.";
  }

  /**
   * @param {HTMLElement} node
   * @param {Group} group
   */
  #drawGroup(node, group) {
    const [title, list, more] = [...node.children];
    if (title === undefined || list === undefined || more === undefined) {
      return;
    }
    setText(title, `${group.title} (${group.count})`);
    patchList(list, group.rows, (row) => `${ownerOf(row)} ${row.why}`, makeRow, (item, row) => this.#drawRow(item, row, group.kind));
    setText(more, group.more > 0 ? `and ${group.more} more` : "");
  }

  /**
   * @param {HTMLElement} node
   * @param {Against} row
   * @param {string} kind
   */
  #drawRow(node, row, kind) {
    const buttons = [];
    const { step, sign, strike, gauge } = row;
    if (step !== null) {
      const words = kind === "zero check" ? "Check zero" : kind === "surprise" ? "Measure again" : "Measure";
      buttons.push(this.#button(words, ownerOf(row), () => void this.#measure(step)));
    }
    if (sign !== null) {
      const words = kind === "surprise" ? "Accept…" : "Sign…";
      buttons.push(this.#button(words, ownerOf(row), () => this.#askDeviation(row, kind)));
    }
    if (strike !== null) {
      const all = { do: "work", operation: "gauge found out", valves: [], depth: "", by: "", gauge };
      buttons.push(this.#button("All of it again", ownerOf(row), () => void this.#ask(all)));
      buttons.push(this.#button("The check was wrong…", ownerOf(row), () => this.#takeBack("The zero check was wrong itself", strike)));
    }
    if (row.what === TESTED) {
      for (const valve of row.valves.slice(0, 1)) {
        const more = row.valves.length > 1 ? `Tell ${valve}…` : "Tell…";
        buttons.push(this.#button(more, ownerOf(row), () => this.#springs.ask(valve)));
      }
    }
    if (row.what === FILLED && kind === "not measured") {
      buttons.push(this.#button("Tell…", ownerOf(row), () => this.#chambers.askNext()));
    }
    if (LOOKED.includes(kind)) {
      buttons.push(this.#button("Look…", ownerOf(row), () => this.#askLook(row)));
    }
    const bold = h("strong", {}, row.valves.join(", "));
    node.replaceChildren(h("bdi", {}, bold, ` ${row.what}: ${row.why}`), h("span", { class: "row-buttons" }, ...buttons));
  }

  /**
   * @param {string} words
   * @param {string} about
   * @param {() => void} use
   */
  #button(words, about, use) {
    const button = h("button", { type: "button", class: "quiet", "aria-label": `${words} ${about}` }, words);
    button.addEventListener("click", use);
    return button;
  }

  /**
   * @param {HTMLElement} node
   * @param {Deviation} one
   */
  #drawSigned(node, one) {
    const about = `${one.valve ?? ""} ${one.characteristic} ${one.value}`.trim();
    const state = one.state === "holds" ? "" : ` (${one.state}: ${one.why})`;
    set(node, { "data-state": one.state });
    const buttons = one.state === "holds" ? [this.#button("Take back…", about, () => this.#takeBack(`Take back: ${about}`, one.place))] : [];
    node.replaceChildren(
      h("bdi", {}, `${about}, accepted by ${one.by}: ${one.reason}${state}`),
      h("span", { class: "row-buttons" }, ...buttons),
    );
  }

  /** @param {Against} row */
  #askLook(row) {
    const check = this.#state?.release.checks.find((one) => one.name === row.what);
    if (check !== undefined) {
      this.#look.ask(check, row.valves, this.#grid.by);
    }
  }

  /**
   * @param {Against} row
   * @param {string} kind
   */
  #askDeviation(row, kind) {
    const { sign } = row;
    if (sign !== null) {
      this.#sign.ask({
        title: kind === "surprise" ? "Accept a surprise" : "Sign a deviation",
        about: [`${ownerOf(row)}: ${row.why}`, "It holds for this value and what it was told from only: measured again, it is another one."],
        why: "Why it is accepted",
        named: true,
        reasoned: true,
        go: "Accept it",
        make: (by, reason) => ({ do: "deviation", ...sign, by, reason }),
      });
    }
  }

  #askRelease() {
    const state = this.#state;
    if (state !== null) {
      const signed = state.release.deviations.filter((one) => one.state === "holds").length;
      this.#sign.ask({
        title: "Release this head",
        about: [
          `${state.job.head}, number ${state.job.serial}, ${state.job.stage}. Deviations signed: ${signed}.`,
          "Whoever signs releases it; this program does not replace a qualified person. Aviation, marine-class and rail parts need licensed release.",
        ],
        why: "A remark; may stay empty",
        named: true,
        reasoned: false,
        go: "Release",
        make: (by, words) => ({ do: "release", by, words, seen: state.record.size }),
      });
    }
  }

  /**
   * @param {string} title
   * @param {number | null} place
   */
  #takeBack(title, place) {
    if (place !== null) {
      this.#sign.ask({
        title,
        about: ["It stays readable in the record, with the reason."],
        why: "Why",
        named: false,
        reasoned: true,
        go: "Take it back",
        make: (_by, reason) => ({ do: "strike-out", place, reason }),
      });
    }
  }

  /** @param {number} step */
  async #measure(step) {
    const answer = await act({ do: "go", step });
    if (answer.ok) {
      location.assign("/");
    }
    setText(this.#answer, answer.words);
  }

  /** @param {Action} action */
  async #ask(action) {
    setText(this.#answer, (await act(action)).words);
  }
}

function makeGroup() {
  return h("div", { class: "group" }, h("h4"), h("ul"), h("p", { class: "soft" }));
}

function makeRow() {
  return h("li");
}

customElements.define("release-panel", ReleasePanel);
