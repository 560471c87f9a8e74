/**
 * What a line of the work order should leave behind, valve by valve, and beside it what was found
 * once it is measured again. It is open where there is little of it, or a surprise in it.
 */

import { h, patchList, set, setText } from "../common/dom.js";

/** @typedef {import("./order-types.js").OrderFigure} OrderFigure */

/** So many figures are shown without a touch. */
const FEW = 8;

export function dueList() {
  return h("details", { class: "due" }, h("summary"), h("ul", {}));
}

/**
 * @param {HTMLDetailsElement} due
 * @param {OrderFigure[]} figures
 */
export function drawDue(due, figures) {
  const [summary, list] = due.children;
  if (!summary || !list) {
    return;
  }
  const found = figures.filter((one) => one.found !== "").length;
  const surprises = figures.filter((one) => one.word === "surprise").length;
  const parts = [`Should then measure: ${figures.length}`, found > 0 ? `found: ${found}` : "", surprises > 0 ? `surprises: ${surprises}` : ""];
  setText(summary, parts.filter((text) => text !== "").join(", "));
  set(due, { hidden: figures.length === 0 });
  // Opened or closed by hand it stays so, until a surprise comes.
  const key = `${figures.length <= FEW}/${surprises}`;
  if (due.dataset["key"] !== key) {
    due.dataset["key"] = key;
    due.open = figures.length <= FEW || surprises > 0;
  }
  patchList(list, figures, (one) => `${one.valve ?? ""}/${one.figure}`, makeFigure, drawFigure);
}

function makeFigure() {
  return h("li", {}, h("span"), h("span"), h("span"), h("bdi", { class: "surprise" }));
}

/**
 * @param {HTMLElement} row
 * @param {OrderFigure} one
 */
function drawFigure(row, one) {
  const [name, expected, found, surprise] = row.children;
  if (name && expected && found && surprise) {
    name.replaceChildren(h("strong", {}, one.valve ?? "head"), ` ${one.figure}`);
    expected.replaceChildren("expected ", h("span", { class: "figure" }, one.expected));
    if (one.moved !== "") {
      expected.append(h("span", { class: "soft" }, ` (${one.moved} by the depth told)`));
    }
    found.replaceChildren(...foundWords(one));
    set(row, { "data-word": one.word });
    setText(surprise, one.word === "surprise" ? `surprise: ${one.words}` : "");
  }
}

/** @param {OrderFigure} one */
function foundWords(one) {
  if (one.found === "") {
    return [h("span", { class: "soft" }, one.done ? "not measured since" : "")];
  }
  const off = one.difference === "" ? [] : [" ", h("span", { class: "soft whole" }, `(${one.difference})`)];
  return ["found ", h("strong", { class: "figure" }, one.found), ...off];
}
