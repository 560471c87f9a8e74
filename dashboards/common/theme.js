/** Change between paper and steel. */

const KEY = "gaugelink-theme";
const system = matchMedia("(prefers-color-scheme: dark)");

/** @returns {"light" | "dark"} what is shown now */
export function theme() {
  const chosen = document.documentElement.dataset["theme"];
  return chosen === "dark" || (chosen !== "light" && system.matches) ? "dark" : "light";
}

/**
 * Let a button change the theme. The choice is remembered; choosing what the system has anyway
 * forgets it, so that the page follows the system again.
 * @param {HTMLButtonElement} button
 * @param {() => void} changed called after each change, whoever made it
 */
export function themeButton(button, changed) {
  const draw = () => {
    const other = theme() === "dark" ? "Light" : "Dark";
    button.textContent = other;
    button.setAttribute("aria-label", `Change to the ${other.toLowerCase()} theme`);
  };
  const remember = (/** @type {"light" | "dark" | null} */ choice) => {
    try {
      if (choice === null) {
        localStorage.removeItem(KEY);
      } else {
        localStorage.setItem(KEY, choice);
      }
    } catch {
      // Without storage the choice lasts as long as the page.
    }
  };
  button.addEventListener("click", () => {
    const next = theme() === "dark" ? "light" : "dark";
    const follows = (next === "dark") === system.matches;
    if (follows) {
      delete document.documentElement.dataset["theme"];
    } else {
      document.documentElement.dataset["theme"] = next;
    }
    remember(follows ? null : next);
    draw();
    changed();
  });
  system.addEventListener("change", () => {
    draw();
    changed();
  });
  draw();
}
