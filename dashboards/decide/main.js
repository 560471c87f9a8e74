/**
 * The page that decides: the cheapest plan, what one step would do, and what stands in the way of
 * a release. It changes nothing but through the same actions as the bench page.
 */

import { JobBar } from "../bench/job-bar.js";
import { LinkBanner } from "../bench/link-banner.js";
import { TitleBlock } from "../bench/title-block.js";
import { WorkDialog } from "../bench/work-dialog.js";
import { set, setText } from "../common/dom.js";
import { act, listen } from "../common/stream.js";
import { themeButton } from "../common/theme.js";
import { OrderPanel } from "./order-panel.js";
import { PlanPanel } from "./plan-panel.js";
import { ReleasePanel } from "./release-panel.js";
import { TrialPanel } from "./trial-panel.js";

/** @typedef {import("../common/types.js").State} State */
/** @typedef {import("../common/types.js").Action} Action */

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

const job = part(JobBar, "job-bar");
const banner = part(LinkBanner, "link-banner");
const plan = part(PlanPanel, "plan-panel");
const order = part(OrderPanel, "order-panel");
const trial = part(TrialPanel, "trial-panel");
const release = part(ReleasePanel, "release-panel");
const block = part(TitleBlock, "title-block");
const work = part(WorkDialog, "work-dialog");

const answer = part(HTMLElement, "main .answer");
const orderSection = part(HTMLElement, "section.order");
const anew = part(HTMLDetailsElement, "details.anew");
const planTitle = part(HTMLElement, "#plan-title");
const CHEAPEST = planTitle.textContent ?? "";

/** @type {State | null} */
let state = null;

/** @param {Action} action */
async function ask(action) {
  const { ok, words } = await act(action);
  setText(answer, words);
  set(answer, { "data-ok": String(ok) });
}

document.addEventListener("act", (event) => void ask(/** @type {CustomEvent<Action>} */ (event).detail));
document.addEventListener("ask-work", (event) => {
  if (state !== null) {
    work.ask(state, /** @type {CustomEvent<import("../bench/work-dialog.js").Told | undefined>} */ (event).detail);
  }
});

themeButton(job.themeButton, () => {});
listen({
  state: (now) => {
    state = now;
    job.show(now);
    order.show(now);
    if (orderSection.hidden && now.order !== null) {
      anew.open = false; // the order is what counts now
    }
    orderSection.hidden = now.order === null;
    setText(planTitle, now.order === null ? CHEAPEST : "If it were planned anew, as it is measured now");
    plan.show(now);
    trial.show(now);
    release.show(now);
    block.show(now);
  },
  live: () => {},
  link: (up) => {
    job.link(up);
    banner.link(up);
    release.link(up);
    document.body.toggleAttribute("data-lost", !up);
  },
});
