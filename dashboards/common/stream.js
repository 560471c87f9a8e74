/** Listen to the bench, and act on it. */

/** @typedef {import("./types.js").State} State */
/** @typedef {import("./types.js").Live} Live */
/** @typedef {import("./types.js").Answer} Answer */
/** @typedef {import("./types.js").Action} Action */
/** @typedef {import("./types.js").Sweep} Sweep */

/** With no sign of life for so long the line counts as lost; the bench gives one every 2 s. */
const PATIENCE_MS = 6000;
/** A browser gives up for good on some answers; then a new stream is opened after so long. */
const AGAIN_MS = 2000;

/**
 * Keep a stream open for as long as the page lives.
 * @param {object} on
 * @param {(state: State) => void} on.state
 * @param {(live: Live) => void} on.live
 * @param {(up: boolean) => void} on.link called once when the line is lost and once when it is back
 * @param {string} [address]
 */
export function listen(on, address = "/events") {
  /** @type {boolean | null} */
  let up = null;
  let heard = performance.now();
  /** @type {EventSource} */
  let source;

  /** @param {boolean} now */
  const link = (now) => {
    if (up !== now) {
      up = now;
      on.link(now);
    }
  };
  /** @param {(doc: any) => void} use */
  const take = (use) => (/** @type {MessageEvent<string>} */ event) => {
    heard = performance.now();
    link(true);
    use(JSON.parse(event.data));
  };
  const open = () => {
    heard = performance.now();
    source = new EventSource(address);
    source.addEventListener("state", take(on.state));
    source.addEventListener("live", take(on.live));
    source.addEventListener("beat", take(() => {}));
    source.addEventListener("error", () => link(false));
  };
  open();
  setInterval(() => {
    const silent = performance.now() - heard > PATIENCE_MS;
    if (silent) {
      link(false);
    }
    if (silent || source.readyState === EventSource.CLOSED) {
      source.close();
      open();
    }
  }, AGAIN_MS);
}

/**
 * Ask the bench to do something.
 * @param {Action} action
 * @returns {Promise<Answer>}
 */
export async function act(action) {
  try {
    const response = await fetch("/act", {
      method: "POST",
      headers: { "content-type": "application/json", "x-gaugelink-page": "bench" },
      body: JSON.stringify(action),
    });
    const answer = await response.json();
    return { ok: response.ok && answer.ok === true, words: String(answer.words ?? "") };
  } catch {
    const words = "The bench did not answer. It is not known whether this was done: look at the readings before you repeat it.";
    return { ok: false, words };
  }
}

/**
 * Ask the bench a question; nothing is changed by it.
 * @param {Record<string, string>} question
 * @returns {Promise<{ok: boolean, words: string, answer: unknown}>}
 */
export async function askBench(question) {
  try {
    const response = await fetch("/ask", {
      method: "POST",
      headers: { "content-type": "application/json", "x-gaugelink-page": "bench" },
      body: JSON.stringify(question),
    });
    const answer = await response.json();
    return { ok: response.ok, words: String(answer.words ?? ""), answer };
  } catch {
    return { ok: false, words: "The bench did not answer.", answer: null };
  }
}

/**
 * Fetch a sweep that is on record; null if the bench has none there, or does not answer.
 * @param {number} place
 * @returns {Promise<Sweep | null>}
 */
export async function fetchSweep(place) {
  try {
    const response = await fetch(`/sweep/${place}`);
    return response.ok ? await response.json() : null;
  } catch {
    return null;
  }
}
