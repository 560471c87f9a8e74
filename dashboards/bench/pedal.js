/**
 * A foot pedal that types a key: F8 accepts, F9 steps back. Held down it repeats, and its contact
 * bounces; neither may take a second reading.
 */

const LOCK_MS = 400; // within the 300 to 800 ms that are common practice for a pedal

/** @param {{accept: () => void, back: () => void, busy: () => boolean}} on */
export function listenToPedal(on) {
  let last = Number.NEGATIVE_INFINITY;
  addEventListener("keydown", (event) => {
    const does = event.key === "F8" ? on.accept : event.key === "F9" ? on.back : null;
    if (does === null || event.ctrlKey || event.altKey || event.metaKey || event.shiftKey) {
      return;
    }
    event.preventDefault();
    const quick = event.timeStamp - last < LOCK_MS;
    if (!event.repeat && !quick && !on.busy()) {
      last = event.timeStamp;
      does();
    }
  });
}
