/**
 * What the capture field makes of the keys that come, without a page: which row they belong to, and
 * whether they come as quickly as only a gauge types. Pure; times are those of the events.
 */

/** Keys that come within so long of each other were not typed by fingers (from memory: gauges stay
 * below 30 ms, people above 60 ms). The driver file's own figure judges what is a value; this one
 * only says what is worth a warning where no key should come at all. */
export const QUICK_MS = 40;
/** So many quick keys in a row are a gauge; two of a person may fall together by chance. */
const QUICK_MOST = 3;
/** The most keys that the bench takes at once. */
export const ROW_MOST = 64;

/**
 * What a key types: itself, "Enter", "Tab", "Dead" for what types nothing sensible, or null for
 * keys that type nothing at all, such as shift and the arrows.
 * @param {{key: string, isComposing: boolean}} event
 * @returns {string | null}
 */
export function typed({ key, isComposing }) {
  if (isComposing || key === "Dead" || key === "Process" || key === "Unidentified") {
    return "Dead";
  }
  return [...key].length === 1 || key === "Enter" || key === "Tab" ? key : null;
}

/** The keys since the last Enter or Tab, each with the milliseconds since the one before. */
export class KeyRow {
  /** @type {[string, number][]} */
  #keys = [];
  #last = Number.NEGATIVE_INFINITY;

  get length() {
    return this.#keys.length;
  }

  /**
   * Take a key in; give the row when it is complete.
   * @param {string} key
   * @param {number} at milliseconds
   * @returns {[string, number][] | null}
   */
  add(key, at) {
    const passed = Math.max(0, Math.round(at - this.#last));
    this.#keys.push([key, Number.isFinite(passed) ? Math.min(passed, 60_000) : 60_000]);
    this.#last = at;
    if (key !== "Enter" && key !== "Tab" && this.#keys.length < ROW_MOST) {
      return null;
    }
    const whole = this.#keys;
    this.#keys = [];
    return whole;
  }
}

/** Tells whether keys come as quickly as a gauge types. */
export class Quick {
  #last = Number.NEGATIVE_INFINITY;
  #count = 0;

  /**
   * Take a key in; true if it belongs to a row of quick ones.
   * @param {number} at milliseconds
   */
  add(at) {
    this.#count = at - this.#last < QUICK_MS ? this.#count + 1 : 1;
    this.#last = at;
    return this.#count >= QUICK_MOST;
  }
}
