/**
 * A figure with the mark of its verdict, as the tables of springs and chambers show it.
 */

import { h, svg } from "../common/dom.js";
import { mark } from "../common/marks.js";

/**
 * A value with the mark of its verdict; "open" where there is no value yet.
 * @param {string} text
 * @param {"" | "within" | "outside" | "undecided"} verdict
 * @param {string} words what it was held against
 * @param {string} [more] what else there is to say of the value
 * @returns {HTMLElement}
 */
export function judged(text, verdict, words, more = "") {
  if (text === "") {
    return h("span", { class: "soft" }, "open");
  }
  const picture = svg("svg", { viewBox: "0 0 20 20", class: "look-mark", "aria-hidden": "true" });
  if (verdict !== "") {
    picture.append(mark(verdict, 10, 10, 8, true));
  }
  const about = [verdict, more].filter((word) => word !== "").join(", ");
  return h("span", { class: "judged", title: words }, picture, h("span", {}, text), h("span", { class: "soft" }, about));
}
