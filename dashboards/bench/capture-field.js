/**
 * `<capture-field>`: where a gauge that types puts its figure. While such a gauge is on the bench the
 * field holds the focus, and each row of keys goes to the bench with the times between them; the
 * bench judges whether a gauge typed it. What a person types is never a reading. Keys that come while
 * the field is not armed are not taken, and that is said loudly.
 */

import { h, set, setText } from "../common/dom.js";
import { act } from "../common/stream.js";
import { KeyRow, Quick, typed } from "./key-rows.js";

/** @typedef {import("../common/types.js").State} State */

const NOT_ARMED = "The capture field is not armed";
/** After so long without Enter, keys that were begun are told of. */
const BEGUN_MS = 1000;

export class CaptureField extends HTMLElement {
  #field = h("div", { class: "keys", tabindex: 0, role: "group" });
  #state = h("strong");
  #gauge = h("bdi");
  #loud = h("p", { class: "keys-words", role: "alert" });
  #quiet = h("p", { class: "keys-words soft", role: "status" });
  #row = new KeyRow();
  #quick = new Quick();
  #timer = 0;
  #up = false;

  connectedCallback() {
    this.hidden = true;
    this.#field.append(this.#state, h("span", {}, "for ", this.#gauge));
    this.append(this.#field, this.#loud, this.#quiet);
    // Before any button or field of the page hears of the key.
    addEventListener("keydown", (event) => this.#heard(event), true);
    for (const name of ["focusin", "focusout", "focus", "blur"]) {
      addEventListener(name, () => this.#draw());
    }
    // A finger on a button takes the focus along; when it has done its work the field has it back.
    addEventListener("click", (event) => event.detail > 0 && setTimeout(() => this.#hold()));
    addEventListener("close", () => setTimeout(() => this.#hold()), true);
  }

  /** @param {State} state */
  show({ gauges }) {
    const gauge = gauges.find((one) => one.port === "page:");
    const was = this.hidden;
    this.hidden = gauge === undefined;
    setText(this.#gauge, gauge?.title ?? "");
    set(this.#field, { "aria-label": `Capture field for ${gauge?.title ?? ""}` });
    if (was && !this.hidden) {
      this.#hold();
    }
    this.#draw();
  }

  /** @param {boolean} up */
  link(up) {
    this.#up = up;
    this.#draw();
  }

  get #armed() {
    return document.activeElement === this.#field && document.hasFocus();
  }

  /** Take the focus, unless somebody writes or is asked something. */
  #hold() {
    const now = document.activeElement;
    const busy = document.querySelector("dialog[open]") !== null || writes(now);
    if (!this.hidden && !busy && now !== this.#field) {
      this.#field.focus({ preventScroll: true });
    }
    this.#draw();
  }

  /** @param {KeyboardEvent} event */
  #heard(event) {
    const key = typed(event);
    if (this.hidden || key === null || event.ctrlKey || event.altKey || event.metaKey) {
      return; // shortcuts and the pedal's keys are not the gauge's
    }
    // The time of the event is that of the key; the time of this call is later when the page is busy.
    const quick = this.#quick.add(event.timeStamp);
    if (this.#armed) {
      this.#take(key, event);
      return;
    }
    const walks = key === "Tab" || key === "Enter" || key === " ";
    if (quick) {
      event.preventDefault(); // nor may the Enter of a gauge press the button that has the focus
      event.stopPropagation();
    }
    if (quick || !(walks || writes(event.target))) {
      this.#warn(`${NOT_ARMED}: the keys that came were not taken. Touch it, then press the gauge's button again.`);
    }
  }

  /**
   * @param {string} key
   * @param {KeyboardEvent} event
   */
  #take(key, event) {
    const ends = key === "Tab" || key === "Enter";
    if (ends && this.#row.length === 0) {
      return; // Tab goes on to the next button; Enter does nothing
    }
    event.preventDefault();
    event.stopPropagation();
    clearTimeout(this.#timer);
    const row = this.#row.add(key, event.timeStamp);
    if (row === null) {
      this.#timer = setTimeout(
        () => this.#warn("Keys without an end came; a person typed them, or the gauge is not set to type Enter. Press Enter, then the gauge's button again."),
        BEGUN_MS,
      );
    } else {
      void this.#send(row);
    }
  }

  /** @param {[string, number][]} keys */
  async #send(keys) {
    const { ok, words } = await act({ do: "keys", keys });
    if (ok) {
      setText(this.#loud, "");
      setText(this.#quiet, words);
    } else {
      this.#warn(words);
    }
  }

  /** @param {string} words */
  #warn(words) {
    setText(this.#quiet, "");
    setText(this.#loud, words);
  }

  #draw() {
    const armed = this.#armed && this.#up;
    set(this, { "data-armed": String(armed) });
    setText(this.#state, armed ? "Armed: press the gauge's button" : `${NOT_ARMED}: touch here`);
  }
}

/**
 * Tell whether a person writes there.
 * @param {unknown} where
 */
function writes(where) {
  return where instanceof HTMLInputElement || where instanceof HTMLTextAreaElement || where instanceof HTMLSelectElement;
}

customElements.define("capture-field", CaptureField);
