/**
 * The figure of a rock sweep, as a plain dict for plotly.js.
 *
 * The curve, the plateaus that were used (thick) and those that were not (dashed), the travel
 * between them, and at the right edge the allowed band, upright, just as a limit scale has it:
 * a travel that reaches beyond the band is outside. plotly reads markup in texts, so the figure
 * holds no text but our own; what came from elsewhere is shown beside the plot.
 */

/** @typedef {import("../common/types.js").Sweep} Sweep */
/** @typedef {import("../common/types.js").Plateau} Plateau */
/** @typedef {import("../common/types.js").Scale} Scale */

/**
 * @typedef {object} Colours
 * @property {string} ink
 * @property {string} soft
 * @property {string} line
 * @property {string} blue
 * @property {string} sheet
 * @property {string} face a font's family
 */

const UM_PER_MM = 1000;
const UM_PER_IN = 25400;

/**
 * A length for the words beside the plot, to a tenth of a micrometre, so that no rounding can
 * carry it across a limit that is printed to a thousandth of a millimetre.
 * @param {number} um
 * @param {string} unit
 */
export function lengthText(um, unit) {
  return unit === "in" ? `${(um / UM_PER_IN).toFixed(6)} in` : `${(um / UM_PER_MM).toFixed(4)} mm`;
}

/**
 * The two levels between which the travel is drawn: about the middle of the used plateaus, so far
 * apart as the travel says. The travel is cleared of drift, so the plateaus lie about these lines.
 * @param {Sweep} sweep
 * @returns {{low: number, high: number} | null} micrometres
 */
export function travelLevels(sweep) {
  const mean = (/** @type {string} */ side) => {
    const levels = sweep.plateaus.filter((one) => one.used && one.side === side).map((one) => one.level_um);
    return levels.length === 0 ? null : levels.reduce((sum, level) => sum + level, 0) / levels.length;
  };
  const [low, high] = [mean("low"), mean("high")];
  if (low === null || high === null || sweep.travel_um === null) {
    return null;
  }
  const middle = (low + high) / 2;
  return { low: middle - sweep.travel_um / 2, high: middle + sweep.travel_um / 2 };
}

/**
 * The limit as a travel: a limit of the clearance is multiplied by the factor of the set-up.
 * @param {Sweep} sweep
 * @returns {number | null} micrometres
 */
export function travelLimit(sweep) {
  if (sweep.limit_um === null) {
    return null;
  }
  const factor = sweep.limit_of === "clearance" ? Number.parseFloat(sweep.factor) : 1;
  return Number.isFinite(factor) ? sweep.limit_um * factor : null;
}

/**
 * What a sweep comes to against its limit, as a limit scale draws it; null while there is nothing.
 * @param {Sweep} sweep
 * @returns {Scale | null}
 */
export function sweepScale(sweep) {
  const travel = sweep.limit_of === "travel";
  const um = travel ? sweep.travel_um : sweep.clearance_um;
  const u = travel ? sweep.travel_u_um : sweep.clearance_u_um;
  const mm = (/** @type {number | null} */ length) => (length === null ? null : length / UM_PER_MM);
  const drawn = { lower_mm: null, upper_mm: mm(sweep.limit_um), value_mm: mm(um), u_mm: mm(u) };
  return um === null ? null : { ...drawn, verdict: sweep.verdict };
}

/**
 * The figure that is held against the limit, in words.
 * @param {Sweep} sweep
 */
export function sweepResult(sweep) {
  const um = sweep.limit_of === "travel" ? sweep.travel_um : sweep.clearance_um;
  return um === null ? "" : lengthText(um, sweep.unit);
}

/**
 * @param {Sweep} sweep
 * @param {Colours} colours
 * @returns {{data: object[], layout: object}}
 */
export function sweepFigure(sweep, colours) {
  const inch = sweep.unit === "in";
  const size = (/** @type {number} */ um) => um / (inch ? UM_PER_IN : UM_PER_MM);
  const data = [
    {
      type: "scatter",
      mode: "lines",
      x: sweep.points.map(([t]) => t),
      y: sweep.points.map(([, um]) => size(um)),
      line: { color: colours.ink, width: 1.4 },
    },
    plateauTrace(sweep.plateaus.filter((one) => one.used), size, { color: colours.blue, width: 6 }),
    plateauTrace(sweep.plateaus.filter((one) => !one.used), size, { color: colours.soft, width: 3, dash: "2px,3px" }),
  ];
  const marks = travelMarks(sweep, colours, size);
  const axis = { color: colours.soft, gridcolor: colours.line, linecolor: colours.soft, zeroline: false, showline: true, ticks: "outside", fixedrange: true };
  return {
    data,
    layout: {
      margin: { l: 74, r: 92, t: 10, b: 42 },
      paper_bgcolor: colours.sheet,
      plot_bgcolor: colours.sheet,
      font: { family: colours.face, size: 14, color: colours.ink },
      showlegend: false,
      xaxis: { ...axis, title: { text: "seconds", standoff: 6 }, gridwidth: 0, showgrid: false },
      yaxis: { ...axis, title: { text: inch ? "inches" : "mm", standoff: 12 }, nticks: 6, tickformat: inch ? ".4f" : ".3f" },
      ...marks,
    },
  };
}

/**
 * @param {Plateau[]} plateaus
 * @param {(um: number) => number} size
 * @param {object} line
 */
function plateauTrace(plateaus, size, line) {
  return {
    type: "scatter",
    mode: "lines",
    connectgaps: false,
    x: plateaus.flatMap((one) => [one.t0_s, one.t1_s, null]),
    y: plateaus.flatMap((one) => [size(one.level_um), size(one.level_um), null]),
    line,
  };
}

/**
 * @param {Sweep} sweep
 * @param {Colours} colours
 * @param {(um: number) => number} size
 */
function travelMarks(sweep, colours, size) {
  const levels = travelLevels(sweep);
  /** @type {object[]} */
  const shapes = [];
  /** @type {object[]} */
  const annotations = sweep.plateaus
    .filter((one) => !one.used)
    .map((one) => ({
      x: (one.t0_s + one.t1_s) / 2,
      y: size(one.level_um),
      text: "not used",
      showarrow: false,
      yshift: one.side === "high" ? 12 : -12,
      bgcolor: colours.sheet,
      font: { color: colours.soft, size: 13 },
    }));
  if (levels === null) {
    return { shapes, annotations };
  }
  const level = (/** @type {number} */ um, /** @type {object} */ line, x0 = 0, x1 = 1.02) =>
    shapes.push({ type: "line", xref: "paper", x0, x1, yref: "y", y0: size(um), y1: size(um), line });
  level(levels.low, { color: colours.ink, width: 1 });
  level(levels.high, { color: colours.ink, width: 1 });
  const limit = travelLimit(sweep);
  if (limit !== null) {
    const top = levels.low + limit;
    shapes.push({ type: "rect", xref: "paper", x0: 1.045, x1: 1.065, yref: "y", y0: size(levels.low), y1: size(top), fillcolor: colours.blue, line: { width: 0 } });
    level(top, { color: colours.ink, width: 1.5, dash: "6px,4px" });
    level(top, { color: colours.ink, width: 3 }, 1.035, 1.075);
    annotations.push({ xref: "paper", x: 1.075, xanchor: "left", y: size(top), text: " limit", showarrow: false });
  }
  const middle = size((levels.low + levels.high) / 2);
  annotations.push(
    {
      xref: "paper", x: 1.02, ax: 1.02, axref: "paper", y: size(levels.high), ay: size(levels.low), ayref: "y",
      text: "", showarrow: true, arrowhead: 2, startarrowhead: 2, arrowside: "end+start", arrowwidth: 1.6, arrowcolor: colours.ink,
    },
    { xref: "paper", x: 1.075, xanchor: "left", y: middle, text: " travel", showarrow: false },
  );
  return { shapes, annotations };
}
