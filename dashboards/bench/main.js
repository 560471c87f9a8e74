/**
 * The bench page: one state from the bench, one view of it (which valve, which reading, which
 * sweep), and the parts of the page, each of which draws its share and sends words up.
 */

import { act, fetchSweep, listen } from "../common/stream.js";
import { themeButton } from "../common/theme.js";
import { ActionBar } from "./action-bar.js";
import { CaptureField } from "./capture-field.js";
import { HeadMap } from "./head-map.js";
import { JobBar } from "./job-bar.js";
import { LinkBanner } from "./link-banner.js";
import { GaugeList, LiveValue } from "./live-value.js";
import { LastReading, NextStep } from "./next-step.js";
import { listenToPedal } from "./pedal.js";
import { ReadingsTable } from "./readings-table.js";
import { ReasonDialog } from "./reason-dialog.js";
import { SlipQuestion } from "./slip-question.js";
import { SweepPlot } from "./sweep-plot.js";
import { TitleBlock } from "./title-block.js";
import { MessageList, VerdictList } from "./verdict-list.js";
import { WorkDialog } from "./work-dialog.js";

/** @typedef {import("../common/types.js").State} State */
/** @typedef {import("../common/types.js").Sweep} Sweep */
/** @typedef {import("../common/types.js").Action} Action */

/** Curves that are kept for rows touched later: more than both directions of sixteen valves. */
const SWEEPS_KEPT = 40;

/**
 * @template {HTMLElement} Part
 * @param {new () => Part} kind
 * @param {string} tag
 * @returns {Part}
 */
function part(kind, tag) {
  const found = document.querySelector(tag);
  if (!(found instanceof kind)) {
    throw new Error(`the page has no ${tag}`);
  }
  return found;
}

const parts = {
  job: part(JobBar, "job-bar"),
  banner: part(LinkBanner, "link-banner"),
  live: part(LiveValue, "live-value"),
  gauges: part(GaugeList, "gauge-list"),
  capture: part(CaptureField, "capture-field"),
  next: part(NextStep, "next-step"),
  slip: part(SlipQuestion, "slip-question"),
  last: part(LastReading, "last-reading"),
  actions: part(ActionBar, "action-bar"),
  map: part(HeadMap, "head-map"),
  verdicts: part(VerdictList, "verdict-list"),
  messages: part(MessageList, "message-list"),
  readings: part(ReadingsTable, "readings-table"),
  sweep: part(SweepPlot, "sweep-plot"),
  block: part(TitleBlock, "title-block"),
  why: part(ReasonDialog, "reason-dialog"),
  work: part(WorkDialog, "work-dialog"),
};
const sweepSection = /** @type {HTMLElement} */ (parts.sweep.closest("section"));

/** @type {State | null} */
let state = null;
const view = {
  /** @type {string | null} the valve whose readings are shown */
  valve: null,
  /** @type {number | null} the reading whose row is open */
  place: null,
  /** @type {number | null} the sweep that was put away */
  away: null,
  up: false,
};
/** @type {Map<number, Sweep>} curves by their place in the record, oldest first */
const seen = new Map();

/** @param {Sweep | null} sweep */
function keepSweep(sweep) {
  if (sweep !== null && sweep.place !== null && !sweep.running) {
    seen.delete(sweep.place);
    seen.set(sweep.place, sweep);
    for (const place of seen.keys()) {
      if (seen.size <= SWEEPS_KEPT) {
        break;
      }
      seen.delete(place);
    }
  }
}

/**
 * The sweep to show: the one that runs; else that of the row which is open; else the last one as
 * long as no reading came after it.
 * @param {State} now
 * @returns {{show: boolean, sweep: Sweep | null}}
 */
function sweepShown(now) {
  if (now.sweep?.running) {
    return { show: true, sweep: now.sweep };
  }
  const open = now.readings.find((reading) => reading.place === view.place && reading.kind === "sweep");
  if (open !== undefined) {
    return { show: true, sweep: seen.get(open.place) ?? null };
  }
  const fresh = now.sweep !== null && (now.last === null || now.sweep.place === now.last.place);
  return { show: fresh && now.sweep?.place !== view.away, sweep: now.sweep };
}

let waiting = false;

/** Draw the newest state before the next frame, however many came since the last. */
function draw() {
  if (!waiting) {
    waiting = true;
    requestAnimationFrame(() => {
      waiting = false;
      if (state !== null) {
        drawNow(state);
      }
    });
  }
}

/** @param {State} now */
function drawNow(now) {
  parts.job.show(now);
  parts.live.show(now);
  parts.gauges.show(now);
  parts.capture.show(now);
  parts.next.show(now);
  parts.slip.show(now);
  parts.last.show(now);
  parts.actions.show(now);
  parts.map.show(now, view);
  parts.verdicts.show(now, view);
  parts.messages.show(now);
  parts.readings.show(now, view);
  parts.block.show(now);
  const { show, sweep } = sweepShown(now);
  sweepSection.hidden = !show;
  document.body.toggleAttribute("data-sweep", show);
  if (show) {
    parts.sweep.show(sweep);
  }
}

/** @param {Action} action */
async function ask(action) {
  parts.actions.asked();
  parts.actions.answered(await act(action));
}

/**
 * @template Detail
 * @param {string} name
 * @param {(detail: Detail) => void} use
 */
function on(name, use) {
  document.addEventListener(name, (event) => use(/** @type {CustomEvent<Detail>} */ (event).detail));
}

on("act", (/** @type {Action} */ action) => void ask(action));
on("ask-why", (/** @type {import("./reason-dialog.js").Question} */ question) => parts.why.ask(question));
on("ask-work", () => state !== null && parts.work.ask(state));
on("pick-valve", (/** @type {string | null} */ valve) => {
  view.valve = valve;
  draw();
});
on("pick-reading", (/** @type {number | null} */ place) => {
  view.place = place;
  draw();
  const reading = state?.readings.find((one) => one.place === place);
  if (reading?.kind === "sweep" && !seen.has(reading.place)) {
    void fetchSweep(reading.place).then((sweep) => {
      keepSweep(sweep);
      draw();
    });
  }
});
on("put-sweep-away", () => {
  view.away = state?.sweep?.place ?? null;
  view.place = null;
  draw();
});

listenToPedal({
  accept: () => parts.actions.accept(),
  redo: () => parts.actions.redo(),
  back: () => parts.actions.stepBack(),
  busy: () => parts.why.open || parts.work.open,
});
themeButton(parts.job.themeButton, () => parts.sweep.redraw());

listen({
  state: (now) => {
    state = now;
    keepSweep(now.sweep);
    draw();
  },
  live: (live) => {
    if (state !== null) {
      state.live = live; // a state that still waits to be drawn must not put an older one back
    }
    parts.live.live(live);
  },
  link: (up) => {
    view.up = up;
    parts.job.link(up);
    parts.banner.link(up);
    parts.live.link(up);
    parts.capture.link(up);
    parts.actions.link(up);
    parts.slip.link(up);
    document.body.toggleAttribute("data-lost", !up);
    draw();
  },
});
