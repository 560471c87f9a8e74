/**
 * A foot pedal that types a key: F8 accepts, held down it asks for the last reading again; F9 steps
 * back. A key repeats while it is held, its contact bounces, and a foot comes down twice; none of
 * that may take a second reading.
 */

const BOUNCE_MS = 30; // within the 20 to 50 ms that are common practice for a contact
const LOCK_MS = 400; // within the 300 to 800 ms that are common practice for a pedal
const LONG_MS = 900; // no source; well above a step

/** @typedef {{accept: () => void, redo: () => void, back: () => void, busy: () => boolean}} Pedal */

/** One press of F8 after the other: short when it ends early, long while it is still held. */
class Press {
  /** @type {Pedal} */
  #on;
  #state = /** @type {"up" | "counts" | "told" | "ignored"} */ ("up");
  #long = 0;
  #lift = 0;
  #free = Number.NEGATIVE_INFINITY;

  /** @param {Pedal} on */
  constructor(on) {
    this.#on = on;
  }

  /** @param {number} at */
  down(at) {
    clearTimeout(this.#lift); // let go and down again so soon is the contact
    if (this.#state !== "up") {
      return;
    }
    this.#state = at < this.#free || this.#on.busy() ? "ignored" : "counts";
    if (this.#state === "counts") {
      this.#long = setTimeout(() => {
        this.#state = "told";
        this.#on.redo();
      }, LONG_MS);
    }
  }

  up() {
    clearTimeout(this.#lift);
    if (this.#state !== "up") {
      this.#lift = setTimeout(() => this.#lifted(), BOUNCE_MS);
    }
  }

  /** The end of the press is not heard of, because another window came in front. */
  forget() {
    clearTimeout(this.#lift);
    clearTimeout(this.#long);
    this.#state = "up";
  }

  #lifted() {
    const was = this.#state;
    this.forget();
    if (was !== "ignored") {
      this.#free = performance.now() + LOCK_MS;
    }
    if (was === "counts") {
      this.#on.accept();
    }
  }
}

/** @param {Pedal} on */
export function listenToPedal(on) {
  const press = new Press(on);
  let last = Number.NEGATIVE_INFINITY;
  /** @param {KeyboardEvent} event */
  const plain = ({ ctrlKey, altKey, metaKey, shiftKey }) => !(ctrlKey || altKey || metaKey || shiftKey);
  addEventListener("keydown", (event) => {
    if ((event.key !== "F8" && event.key !== "F9") || !plain(event)) {
      return;
    }
    event.preventDefault();
    if (event.repeat) {
      return;
    }
    if (event.key === "F8") {
      press.down(event.timeStamp);
    } else if (event.timeStamp - last >= LOCK_MS && !on.busy()) {
      last = event.timeStamp;
      on.back();
    }
  });
  addEventListener("keyup", (event) => {
    if (event.key === "F8") {
      press.up();
    }
  });
  addEventListener("blur", () => press.forget());
}
