/**
 * Put the remembered theme on before anything is drawn; a module would come too late and the page
 * would flash. Without a remembered one the page follows the system (see look.css).
 */
(() => {
  try {
    const theme = localStorage.getItem("gaugelink-theme");
    if (theme === "light" || theme === "dark") {
      document.documentElement.dataset["theme"] = theme;
    }
  } catch {
    // Storage may be switched off; then the system's theme it is.
  }
})();
