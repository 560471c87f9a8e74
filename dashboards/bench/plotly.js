/** Load plotly.js, once and only when something is to be plotted, under our strict policy. */

/**
 * @typedef {object} Plotly the two calls that we use
 * @property {(box: HTMLElement, data: object[], layout: object, config: object) => Promise<unknown>} react
 * @property {(box: HTMLElement) => void} purge
 */

/** @type {Promise<Plotly> | null} */
let loading = null;

/** @returns {Promise<Plotly>} */
export function plotly() {
  loading ??= load().catch((fault) => {
    loading = null; // the bench may be away just now; the next plot tries again
    throw fault;
  });
  return loading;
}

/** @returns {Promise<Plotly>} */
async function load() {
  // The bundle adds the style sheet of its map plots, which the policy forbids and no page needs,
  // unless it finds elements with these ids; the bench reads them out of the installed bundle.
  const { ids } = await (await fetch("/lib/plotly-styles.json")).json();
  for (const id of ids) {
    if (document.getElementById(id) === null) {
      const seat = document.createElement("meta");
      seat.id = id;
      document.head.append(seat);
    }
  }
  await new Promise((done, failed) => {
    const script = document.createElement("script");
    script.src = "/lib/plotly.min.js";
    script.addEventListener("load", done);
    script.addEventListener("error", () => failed(new Error("plotly.js could not be loaded")));
    document.head.append(script);
  });
  return /** @type {any} */ (window).Plotly;
}
