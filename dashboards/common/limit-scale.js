/**
 * `<limit-scale>`: our way to draw a verdict. A thin axis, the allowed band as a thick bar, the
 * reading's mark above it, and its uncertainty as a whisker through the mark. A whisker that
 * crosses the limit's line is why a verdict is "undecided".
 *
 * Attribute `size`: large, row or tiny. Property `scale`: what to draw, or null.
 */

import { changed, set, svg } from "./dom.js";
import { mark } from "./marks.js";

/** @typedef {import("./types.js").Scale} Scale */

/**
 * @typedef {object} Size
 * @property {number} width
 * @property {number} height
 * @property {number} mark height of the mark's middle
 * @property {number} r half the mark's height
 * @property {number} band top of the band
 * @property {number} thick the band's thickness
 * @property {boolean} ticks
 */

/** @type {Record<string, Size>} */
const SIZES = {
  large: { width: 640, height: 92, mark: 30, r: 21, band: 62, thick: 15, ticks: true },
  row: { width: 120, height: 26, mark: 9, r: 7, band: 18, thick: 5, ticks: false },
  tiny: { width: 64, height: 22, mark: 7.5, r: 6, band: 16, thick: 4, ticks: false },
};

/**
 * The next round length at or above one: 1, 2 or 5 times a power of ten.
 * @param {number} length
 */
export function roundUp(length) {
  const power = 10 ** Math.floor(Math.log10(length));
  const lead = length / power;
  return (lead <= 1.0001 ? 1 : lead <= 2.0001 ? 2 : lead <= 5.0001 ? 5 : 10) * power;
}

/**
 * Write a length that `roundUp` gave, in full and without the dust of binary fractions.
 * @param {number} length
 */
export function roundText(length) {
  return length.toFixed(Math.max(0, -Math.floor(Math.log10(length) + 1e-9)));
}

/**
 * Choose which stretch of the axis is shown.
 *
 * Between two limits: the band and half of it again to each side, more if the reading needs it.
 * With one limit the band has no length of its own; then the stretch is a round length that the
 * reading fits in, so that it does not breathe with every reading.
 *
 * @param {Scale} scale
 * @returns {[number, number]} from, to
 */
export function stretch(scale) {
  const { lower_mm: lower, upper_mm: upper, value_mm: value } = scale;
  const whisker = 2 * (scale.u_mm ?? 0);
  if (lower !== null && upper !== null) {
    const span = upper - lower || whisker || 0.001;
    let from = lower - span / 2;
    let to = upper + span / 2;
    if (value !== null) {
      from = Math.max(Math.min(from, value - whisker - span / 8), lower - 2 * span);
      to = Math.min(Math.max(to, value + whisker + span / 8), upper + 2 * span);
    }
    return [from, to];
  }
  const limit = lower ?? upper ?? value ?? 0;
  const off = value === null ? 0 : value - limit;
  const reach = roundUp(Math.max(Math.abs(off) + whisker, 1.5 * whisker) || 0.01) * 1.15;
  if (lower === null && upper === null) {
    return [limit - reach, limit + reach];
  }
  const allowed = lower === null ? -1 : 1; // on which side of the limit the band lies
  const inside = off * allowed >= 0 ? reach : reach * 0.6;
  const outside = off * allowed >= 0 ? reach * 0.4 : reach;
  return allowed > 0 ? [limit - outside, limit + inside] : [limit - inside, limit + outside];
}

/**
 * How much one division of the large drawing's axis is, for the words beside it.
 * @param {Scale} scale
 * @param {string} unit of the reading; lengths are drawn in millimetres whatever the book prints
 */
export function divisionText(scale, unit) {
  const drawn = ["mm", "in", "um", "µm"].includes(unit) ? "mm" : unit;
  return `one division is ${roundText(division(scale))} ${drawn}`;
}

/** @param {Scale} scale */
function division(scale) {
  const [from, to] = stretch(scale);
  return roundUp((to - from) / 12);
}

export class LimitScale extends HTMLElement {
  /** @param {Scale | null} scale */
  set scale(scale) {
    if (!changed(this, scale)) {
      return;
    }
    this.replaceChildren();
    this.toggleAttribute("hidden", scale === null);
    if (scale !== null) {
      const size = SIZES[this.getAttribute("size") ?? "row"] ?? SIZES["row"];
      set(this, { role: "img", "aria-label": `limit scale: ${says(scale)}` });
      this.append(draw(scale, /** @type {Size} */ (size)));
    }
  }
}

/** @param {Scale} scale */
function says(scale) {
  return scale.verdict ?? (scale.value_mm === null ? "no reading yet" : "no verdict");
}

/**
 * @param {Scale} scale
 * @param {Size} size
 */
function draw(scale, size) {
  const [from, to] = stretch(scale);
  const margin = size.r + 2;
  const across = size.width - 2 * margin;
  const place = (/** @type {number} */ mm) => margin + ((mm - from) / (to - from)) * across;
  const middle = size.band + size.thick / 2;
  const drawing = svg("svg", { viewBox: `0 0 ${size.width} ${size.height}`, "aria-hidden": "true" });
  const line = (/** @type {string} */ kind, /** @type {string} */ d) =>
    drawing.append(svg("path", { class: kind, d }));

  line("axis", `M${margin} ${middle}H${size.width - margin}`);
  if (size.ticks) {
    const step = division(scale);
    for (let n = Math.ceil(from / step); n * step <= to; n += 1) {
      line("tick", `M${place(n * step)} ${size.band + size.thick + 3}v7`);
    }
  }
  drawBand(drawing, scale, size, place);
  for (const limit of [scale.lower_mm, scale.upper_mm]) {
    if (limit !== null) {
      line("stop", `M${place(limit)} ${size.band - 2}v${size.thick + 4}`);
      line("reach", `M${place(limit)} ${size.band - 2}V1`);
    }
  }
  if (scale.value_mm !== null) {
    drawReading(drawing, scale, size, place(scale.value_mm), place);
  }
  return drawing;
}

/**
 * The allowed band; where there is no limit it runs off its open end in ever shorter dashes.
 * @param {SVGSVGElement} drawing
 * @param {Scale} scale
 * @param {Size} size
 * @param {(mm: number) => number} place
 */
function drawBand(drawing, scale, size, place) {
  const { lower_mm: lower, upper_mm: upper } = scale;
  if (lower === null && upper === null) {
    return;
  }
  const bar = (/** @type {number} */ left, /** @type {number} */ right) =>
    drawing.append(
      svg("rect", { class: "band", x: left, y: size.band, width: Math.max(right - left, 0.5), height: size.thick }),
    );
  let left = lower === null ? 0 : place(lower);
  let right = upper === null ? size.width : place(upper);
  for (let n = 4; n >= 1; n -= 1) {
    const dash = size.thick * 0.22 * n;
    const gap = size.thick * 0.3;
    if (lower === null) {
      const at = endOf(n, size);
      bar(at, at + dash);
      left = Math.max(left, at + dash + gap);
    }
    if (upper === null) {
      const at = size.width - endOf(n, size);
      bar(at - dash, at);
      right = Math.min(right, at - dash - gap);
    }
  }
  bar(left, right);
}

/**
 * How far from the end of the drawing the nth dash begins, the shortest (1) outermost.
 * @param {number} n
 * @param {Size} size
 */
function endOf(n, size) {
  let at = 1;
  for (let m = 1; m < n; m += 1) {
    at += size.thick * (0.22 * m + 0.3);
  }
  return at;
}

/**
 * @param {SVGSVGElement} drawing
 * @param {Scale} scale
 * @param {Size} size
 * @param {number} at
 * @param {(mm: number) => number} place
 */
function drawReading(drawing, scale, size, at, place) {
  const least = size.r + 2;
  const most = size.width - least;
  const x = Math.min(Math.max(at, least), most);
  const y = size.mark;
  const cap = size.r * 0.45;
  drawing.append(svg("path", { class: "leader", d: `M${x} ${y}V${size.band}` }));
  if (x !== at) {
    // Too far out for the drawing: it stands at the edge, with an arrow that says "further".
    const way = at < least ? -1 : 1;
    const tip = x + way * (size.r + 1);
    const d = `M${tip - way * cap} ${size.band - cap}L${tip} ${size.band + size.thick / 2}L${tip - way * cap} ${size.band + size.thick + cap}`;
    drawing.append(svg("path", { class: "whisker", d }));
  } else if (scale.u_mm !== null && scale.value_mm !== null) {
    const left = Math.max(place(scale.value_mm - 2 * scale.u_mm), 1);
    const right = Math.min(place(scale.value_mm + 2 * scale.u_mm), size.width - 1);
    // A whisker that would hide behind its mark is left out: it would only smudge the shape.
    const hidden = size.r * (scale.verdict === "within" ? 0.28 : 0.95);
    if (right - x > hidden || x - left > hidden) {
      const d = `M${left} ${y - cap}v${2 * cap}m0 ${-cap}H${right}m0 ${-cap}v${2 * cap}`;
      drawing.append(svg("path", { class: "whisker", d }));
    }
  }
  drawing.append(mark(scale.verdict, x, y, size.r));
}

customElements.define("limit-scale", LimitScale);
