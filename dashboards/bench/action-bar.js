/**
 * `<action-bar>`: everything that can be done, as targets for oily hands and gloves. What the
 * bench answers stands beside them until the next action.
 */

import { h, set, setText, tell } from "../common/dom.js";
import { placeWords, valueWords } from "./next-step.js";
import { REASONS } from "./reason-dialog.js";

/** @typedef {import("../common/types.js").State} State */
/** @typedef {import("../common/types.js").Answer} Answer */
/** @typedef {import("../common/types.js").Action} Action */

/** A second touch so soon after the first is a glove that bounced, common practice 0.3 to 0.8 s. */
const BOUNCE_MS = 500;

export class ActionBar extends HTMLElement {
  #take = button("Take reading", "F8");
  #sweep = button("Start sweep", "F8");
  #back = button("Step back", "F9");
  #skip = button("Skip…");
  #retake = button("Retake…");
  #strike = button("Strike out last…");
  #work = button("Work done…");
  #confirm = button("Confirm position");
  #zero = button("Zero checked");
  /** Values at rest are taken and sweeps start by motion, so that both hands are free. */
  #watch = button("Hands free: off");
  #answer = h("p", { class: "answer", role: "status" });
  /** @type {State | null} */
  #state = null;
  #up = false;
  #busy = false;

  connectedCallback() {
    this.append(this.#take, this.#sweep, this.#back, this.#skip, this.#retake, this.#strike, this.#work, this.#watch, this.#confirm, this.#zero, this.#answer);
    const on = (/** @type {HTMLButtonElement} */ which, /** @type {() => void} */ what) =>
      which.addEventListener("click", what);
    on(this.#take, () => this.#doTake());
    on(this.#sweep, () => this.#doSweep());
    on(this.#back, () => this.#do({ do: "back" }));
    on(this.#watch, () => this.#do({ do: "watch", on: !(this.#state?.watching ?? false) }));
    on(this.#confirm, () => this.#do({ do: "confirm-position" }));
    on(this.#zero, () => this.#do({ do: "confirm-zero", gauge: this.#doubted() }));
    on(this.#work, () => tell(this, "ask-work", null));
    on(this.#skip, () => {
      const reason = (/** @type {string} */ text) => ({ do: "skip", reason: text });
      this.#why("Skip this step", this.#state?.next?.words ?? "", REASONS.skip, reason);
    });
    on(this.#retake, () => {
      const reason = (/** @type {string} */ text) => ({ do: "retake", reason: text });
      this.#why("Take the last reading again", lastWords(this.#state), REASONS.retake, reason);
    });
    on(this.#strike, () => {
      const place = this.#state?.last?.place ?? 0;
      const reason = (/** @type {string} */ text) => ({ do: "strike-out", place, reason: text });
      this.#why("Strike out the last reading", lastWords(this.#state), REASONS["strike-out"], reason);
    });
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

  /** What a pedal that means "accept" does: take the reading, or start or stop the sweep. */
  accept() {
    if (!this.#sweep.disabled) {
      this.#doSweep();
    } else if (!this.#take.disabled) {
      this.#doTake();
    }
  }

  /** What a pedal that is held down does: the last reading is struck out and asked for again. */
  redo() {
    if (!this.#retake.disabled) {
      this.#do({ do: "retake", reason: "foot pedal" });
    }
  }

  /** What a pedal that means "not that one" does. */
  stepBack() {
    if (!this.#back.disabled) {
      this.#do({ do: "back" });
    }
  }

  /** Nothing more may be pressed until the bench has answered. */
  asked() {
    this.#busy = true;
    setText(this.#answer, "…");
    this.#draw();
  }

  /** @param {Answer} answer */
  answered(answer) {
    setText(this.#answer, answer.ok ? answer.words : `Not done: ${answer.words}`);
    set(this.#answer, { "data-ok": String(answer.ok) });
    setTimeout(() => {
      this.#busy = false;
      this.#draw();
    }, BOUNCE_MS);
  }

  #doTake() {
    const gauge = this.#state?.next?.gauge ?? this.#state?.live?.gauge ?? "";
    this.#do({ do: "take", gauge });
  }

  #doSweep() {
    this.#do({ do: this.#state?.sweep?.running ? "sweep-stop" : "sweep-start" });
  }

  /** The gauge whose zero is in doubt: the one that is asked for before any other. */
  #doubted() {
    const found = (this.#state?.gauges ?? []).filter((one) => one.state === "check the zero");
    const asked = found.find((one) => one.id === this.#state?.next?.gauge);
    return (asked ?? found[0])?.id ?? "";
  }

  /** @param {Action} action */
  #do(action) {
    tell(this, "act", action);
  }

  /**
   * @param {string} title
   * @param {string} about
   * @param {string[]} reasons
   * @param {(reason: string) => Action} make
   */
  #why(title, about, reasons, make) {
    tell(this, "ask-why", { title, about, reasons, make });
  }

  #draw() {
    const state = this.#state;
    const can = this.#up && !this.#busy && state !== null;
    const running = state?.sweep?.running ?? false;
    const sweep = running || (state?.next?.sweep ?? false);
    const gauge = state?.next?.gauge ?? state?.live?.gauge;
    const last = state?.last ?? null;
    const may = (/** @type {HTMLButtonElement} */ which, /** @type {boolean} */ now) => {
      which.disabled = !(can && now);
    };
    // A gauge that sends at its own button cannot be taken from here; say so before it is tried.
    const own = state?.next?.own_button ?? false;
    may(this.#take, !sweep && !own && gauge !== undefined);
    setText(/** @type {Element} */ (this.#take.firstElementChild), own ? "Press the gauge's button" : "Take reading");
    may(this.#sweep, sweep);
    may(this.#back, !running);
    may(this.#skip, !running && state?.next !== null);
    may(this.#retake, !running && last !== null);
    may(this.#strike, !running && last !== null && (last.state === "good" || last.state === "not usable"));
    may(this.#work, !running);
    const watching = state?.watching ?? false;
    may(this.#watch, true);
    set(this.#watch, { "aria-pressed": String(watching) });
    setText(/** @type {Element} */ (this.#watch.firstElementChild), `Hands free: ${watching ? "on" : "off"}`);
    const back = (state?.gauges ?? []).some((one) => one.state === "back, confirm the position");
    may(this.#confirm, back);
    this.#confirm.hidden = !back;
    this.#confirm.classList.toggle("main", back);
    const zero = this.#doubted();
    may(this.#zero, zero !== "");
    this.#zero.hidden = zero === "";
    setText(/** @type {Element} */ (this.#zero.firstElementChild), `Zero of ${zero} checked`);
    this.#zero.classList.toggle("main", !back && zero !== "" && zero === state?.next?.gauge);
    this.#take.classList.toggle("main", !back && zero !== state?.next?.gauge && !sweep && !own && state?.next !== null);
    this.#sweep.classList.toggle("main", sweep);
    setText(/** @type {Element} */ (this.#sweep.firstElementChild), running ? "Stop sweep" : "Start sweep");
  }
}

/**
 * @param {string} text
 * @param {string} [key]
 */
function button(text, key) {
  const node = h("button", { type: "button", "aria-keyshortcuts": key }, h("span", {}, text));
  if (key !== undefined) {
    node.append(h("kbd", { "aria-hidden": "true" }, key));
  }
  return node;
}

/** @param {State | null} state */
function lastWords(state) {
  const last = state?.last;
  return last ? `${placeWords(last)}: ${valueWords(last)}` : "";
}

customElements.define("action-bar", ActionBar);
