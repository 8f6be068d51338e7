// Gives every control of a panel its name, and keeps the keys typed in it from driving the notebook.
// JupyterLab looks for the mark on the focused element itself, so each one gets it.

const KEYS = "data-lm-suppress-shortcuts";
const BOX = ".widget-inline-hbox, .widget-inline-vbox"; // of one control, with its label and its figure
const CONTROLS = "[role=slider], input, select, textarea, button, .widget-readout";

function labelOf(control) {
  const box = control.closest(BOX);
  const label = box ? box.querySelector(".widget-label") : null;
  return label ? label.textContent.trim() : "";
}

function fit(control) {
  if (control.getAttribute(KEYS) !== "true") {
    control.setAttribute(KEYS, "true");
  }
  if (control.closest("table")) {
    return; // the table names its own cells
  }
  const label = labelOf(control);
  if (control.getAttribute("role") === "slider") {
    name(control, label);
    const box = control.closest(BOX);
    const readout = box ? box.querySelector(".widget-readout") : null;
    if (readout) {
      put(readout, "contenteditable", "false"); // what is typed there would not count
      name(readout, `${label}, as a figure`);
      put(control, "aria-valuetext", readout.textContent.trim());
    }
  } else if (control.matches("select, input:not([type=checkbox]), textarea") && label) {
    name(control, label);
  }
}

function name(element, words) {
  if (words) {
    put(element, "aria-label", words);
    if (element.classList.contains("widget-readout")) {
      put(element, "role", "note");
    }
  }
}

function put(element, key, value) {
  if (element.getAttribute(key) !== value) {
    element.setAttribute(key, value);
  }
}

function render({ el }) {
  el.classList.add("trackkit-fitter");
  let watcher = null;
  let waiting = 0;
  const look = () => {
    const panel = el.closest(".trackkit-panel");
    if (!panel) {
      waiting = requestAnimationFrame(look);
      return;
    }
    const controls = panel.querySelector(".trackkit-controls") || panel;
    const all = () => panel.querySelectorAll(CONTROLS).forEach(fit);
    all();
    // Pictures change often and hold no controls: only what holds them is watched.
    watcher = new MutationObserver(all);
    watcher.observe(controls, { childList: true, subtree: true, characterData: true });
    const table = panel.querySelector(".trackkit-bench");
    if (table) {
      watcher.observe(table, { childList: true, subtree: true });
    }
  };
  look();
  return () => {
    cancelAnimationFrame(waiting);
    if (watcher) {
      watcher.disconnect();
    }
  };
}

export default { render };
