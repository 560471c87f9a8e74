/** `<look-dialog>`: says of one check which valves are sound, or condemned and why; or takes it back. */

import { h, set, setText, tell } from "../common/dom.js";

/** @typedef {import("./release-types.js").Check} Check */

/** @param {string} label */
function field(label, length = 300) {
  return h("input", { type: "text", maxlength: length, autocomplete: "off", "aria-label": label });
}

export class LookDialog extends HTMLElement {
  #title = h("h2", { id: "look-title" });
  #at = h("p", { class: "soft" });
  #known = h("ul", { class: "known" });
  #valves = h("div", { class: "reasons which", role: "group", "aria-label": "Valves" });
  #words = field("What is wrong, or a remark");
  #by = field("Looked at by", 60);
  #sound = h("button", { type: "button", class: "main" }, "Sound");
  #condemn = h("button", { type: "button" }, "Condemned");
  #back = h("button", { type: "button" }, "Take back");
  #backWords = h("p", { class: "soft" });
  #cancel = h("button", { type: "button" }, "Leave it");
  #dialog = h(
    "dialog",
    { "aria-labelledby": "look-title" },
    this.#title,
    this.#at,
    this.#valves,
    this.#known,
    h("label", {}, h("span", {}, "What is wrong, why it is taken back, or a remark"), this.#words),
    h("label", {}, h("span", {}, "Looked at by; empty: who stands at the bench"), this.#by),
    this.#backWords,
    h("div", { class: "dialog-end" }, this.#cancel, this.#back, this.#condemn, this.#sound),
  );
  /** @type {Check | null} */
  #check = null;

  connectedCallback() {
    this.append(this.#dialog);
    this.#cancel.addEventListener("click", () => this.#dialog.close());
    this.#words.addEventListener("input", () => this.#draw());
    this.#sound.addEventListener("click", () => this.#tell(true));
    this.#condemn.addEventListener("click", () => this.#tell(false));
    this.#back.addEventListener("click", () => {
      const [place] = this.#places();
      if (place !== undefined) {
        this.#dialog.close();
        tell(this, "tick", { do: "strike-out", place, reason: this.#words.value.trim() });
      }
    });
  }

  /**
   * @param {Check} check
   * @param {string[]} valves those that are chosen at first
   * @param {string} by
   */
  ask(check, valves, by) {
    this.#check = check;
    setText(this.#title, `${check.name[0]?.toUpperCase() ?? ""}${check.name.slice(1)}`);
    setText(this.#at, check.at);
    this.#valves.hidden = check.of === "head";
    const named = check.of === "head" ? [] : check.cells;
    this.#valves.replaceChildren(
      ...named.map((cell) => {
        const chosen = String(valves.includes(cell.valve));
        const choice = h("button", { type: "button", class: "figure", "aria-pressed": chosen }, cell.valve);
        choice.addEventListener("click", () => {
          set(choice, { "aria-pressed": String(choice.getAttribute("aria-pressed") !== "true") });
          this.#draw();
        });
        return choice;
      }),
    );
    this.#words.value = "";
    this.#by.value = by;
    this.#draw();
    this.#dialog.showModal();
  }

  #cells() {
    const chosen = [...this.#valves.children].filter((one) => one.getAttribute("aria-pressed") === "true");
    const names = chosen.map((one) => one.textContent ?? "");
    const cells = this.#check?.cells ?? [];
    return this.#check?.of === "head" ? cells : cells.filter((cell) => names.includes(cell.valve));
  }

  #places() {
    const cells = this.#cells();
    const places = new Set(cells.map((cell) => cell.place));
    const [place] = places;
    return places.size === 1 && typeof place === "number" ? [place] : [];
  }

  #draw() {
    const cells = this.#cells();
    const given = this.#words.value.trim() !== "";
    const [place] = this.#places();
    const known = cells.filter((cell) => cell.state !== "not looked at").slice(0, 4);
    const line = (/** @type {import("./release-types.js").Cell} */ cell) =>
      [`${cell.valve} ${cell.state}`.trim(), cell.by && `by ${cell.by}`, cell.words].filter((text) => text !== "").join(", ");
    this.#known.replaceChildren(...known.map((cell) => h("li", {}, line(cell))));
    this.#sound.disabled = cells.length === 0;
    this.#condemn.disabled = cells.length === 0 || !given;
    this.#back.disabled = place === undefined || !given;
    const all = (this.#check?.cells ?? []).filter((cell) => cell.place !== null && cell.place === place);
    const several = all.length > cells.length ? ` Taking back concerns all that was told at once: ${all.map((cell) => cell.valve).join(", ")}.` : "";
    setText(this.#backWords, `To condemn or to take back, write why.${several}`);
  }

  /** @param {boolean} sound */
  #tell(sound) {
    if (this.#check !== null) {
      this.#dialog.close();
      const valves = this.#check.of === "head" ? [] : this.#cells().map((cell) => cell.valve);
      const words = this.#words.value.trim();
      tell(this, "tick", { do: "inspect", check: this.#check.name, valves, sound, words, by: this.#by.value.trim() });
    }
  }
}

customElements.define("look-dialog", LookDialog);
