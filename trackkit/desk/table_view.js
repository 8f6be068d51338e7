// What the table of text inputs looks like: cells with their labels, numbers, and the faults beside them.
// table_undo.js and table.js follow in the same module and make it work.

const ALONE = new Set(["side", "end", "item"]); // their cells speak for themselves: "left", not "side left"
const TELL = 3; // cells that name a row: "section 1 head left"
const NARROWEST = 7, WIDEST = 28; // letters
const QUIET = { "data-lm-suppress-shortcuts": "true" }; // keys typed here are not for the notebook
const HINT =
  "Enter or ↓ goes down, ↑ up. Ctrl+Enter adds a row below. Esc puts back what stood in the cell, " +
  "Ctrl+Z undoes what was done last. " +
  "→ past the last cell reaches its remove button. A block copied from a spreadsheet can be pasted.";
let made = 0;

function make(tag, where, words = "", attributes = {}) {
  const node = document.createElement(tag);
  node.textContent = words;
  for (const [name, value] of Object.entries(attributes)) set(node, name, value);
  where?.append(node);
  return node;
}

const set = (node, name, value) => (value ? node.setAttribute(name, value) : node.removeAttribute(name));

const oneLine = (text) => text.replace(/\s*[\r\n]+\s*/g, " "); // an input has one line

/** Show or take away the sign that says: here. */
function sign(node, shown) {
  node.classList.toggle("trackkit-entry-bad", shown);
  const old = node.querySelector("span");
  if (shown && !old) make("span", node, "!", { "aria-hidden": "true" });
  if (!shown) old?.remove();
}

class Shown {
  constructor(model, el) {
    this.model = model;
    this.id = `trackkit-entry-${++made}`;
    this.ids = 0;
    this.root = make("div", el, "", { class: "trackkit-entry", ...QUIET });
    this.above = make("ul", this.root, "", { class: "trackkit-entry-above" });
    const table = make("table", make("div", this.root, "", { class: "trackkit-entry-box" }));
    this.caption = make("caption", table);
    this.head = make("tr", make("thead", table));
    this.body = make("tbody", table);
    const foot = make("div", this.root, "", { class: "trackkit-entry-foot" });
    this.adder = make("button", foot, "Add row", { type: "button", ...QUIET });
    this.undoer = make("button", foot, "", { type: "button", ...QUIET });
    this.notice = make("p", this.root, "", { class: "trackkit-entry-notice", role: "status" });
    make("p", this.root, HINT, { class: "trackkit-entry-hint" });
    this.lists = make("div", this.root);
  }

  get here() {
    return this.root.getRootNode().activeElement; // what has the focus
  }

  build() {
    this.columns = this.model.get("columns");
    this.places = new Map(); // of each input and button
    this.rows = [];
    this.forget();
    this.changed = false;
    this.stood = null; // the cell that has the focus, and its text when it got it
    const rows = this.model.get("rows");
    this.sizes = this.columns.map((_, c) =>
      Math.min(WIDEST, Math.max(NARROWEST, 2 + Math.max(0, ...rows.map((row) => (row[c] ?? "").length)))),
    );
    this.lists.replaceChildren();
    this.columns.forEach((column, c) => {
      const list = column.choices?.length && make("datalist", this.lists, "", { id: `${this.id}-${c}` });
      if (list) for (const word of column.choices) make("option", list, "", { value: word });
    });
    this.head.replaceChildren();
    for (const words of ["row", ...this.columns.map((column) => column.label)])
      make("th", this.head, words, { scope: "col" });
    make("td", this.head); // above the remove buttons
    this.body.replaceChildren();
    rows.forEach((cells, r) => this.insert(r, cells));
    this.adopt(rows.length);
    this.name(0);
    this.mark();
    this.say();
  }

  /** Take Python's word for where the rows come from; return whether any is said to come from elsewhere. */
  adopt(count) {
    const origins = this.model.get("origins") ?? [];
    this.known = origins.length === count; // whether it can be said at all
    let other = false;
    this.rows.forEach((row, r) => {
      const origin = origins[r] ?? 0;
      if (row.origin !== origin) other = true;
      row.origin = origin;
    });
    return other;
  }

  say() {
    this.caption.textContent = this.model.get("caption");
    const notice = this.model.get("notice");
    if (this.notice.textContent !== notice) this.notice.textContent = notice; // or it would be read out again
    const faults = this.model.get("header_faults") ?? [];
    this.above.hidden = faults.length === 0;
    this.above.replaceChildren(...faults.map((text) => make("li", null, `! ${text}`)));
    this.offer();
  }

  notify(words) {
    this.model.set("notice", words);
    this.model.save_changes();
    this.say();
  }

  /** Make a row and put it in; its number and labels come from `name`. */
  insert(at, texts) {
    const values = this.columns.map((_, c) => texts[c] ?? "");
    const row = { values, origin: 0, inputs: [], line: make("tr"), why: null, told: "[]" };
    row.number = make("th", row.line, " ", { scope: "row" });
    this.columns.forEach((column, c) => {
      const list = column.choices?.length ? `${this.id}-${c}` : null;
      const input = make("input", make("td", row.line), "", {
        type: "text", size: this.sizes[c], list, autocomplete: "off", autocapitalize: "off", spellcheck: "false",
        ...QUIET,
      });
      input.value = oneLine(row.values[c]);
      row.inputs.push(input);
    });
    row.button = make("button", make("td", row.line), "remove", { type: "button", tabindex: "-1", ...QUIET });
    return this.place(at, row);
  }

  /** Put a row in, a new one or one that was dropped. */
  place(at, row) {
    [...row.inputs, row.button].forEach((node, column) => this.places.set(node, { row, column }));
    this.body.insertBefore(row.line, this.rows[at]?.line ?? null);
    this.rows.splice(at, 0, row);
    return row;
  }

  drop(row) {
    this.rows.splice(this.rows.indexOf(row), 1);
    for (const node of [...row.inputs, row.button]) this.places.delete(node);
    row.line.remove();
    this.markRow(row, []);
    row.told = "[]";
  }

  /** Number the rows from one on, and label their cells. */
  name(from) {
    for (let r = from; r < this.rows.length; r++) this.label(this.rows[r], this.model.get("first_row") + r);
  }

  label(row, number) {
    row.number.firstChild.data = `${number}`;
    row.button.setAttribute("aria-label", `remove row ${number}`);
    row.inputs.forEach((input, c) => {
      const words = [];
      this.columns.forEach((column, other) => {
        const text = oneLine(row.values[other]).trim();
        if (!column.tells || other === c || !text || words.length === TELL) return;
        const [stem, unit] = column.label.split(", ");
        words.push(ALONE.has(stem) ? text : unit ? `${stem} ${text} ${unit}` : `${stem} ${text}`);
      });
      const which = words.length ? `, ${words.join(" ")}` : "";
      input.setAttribute("aria-label", `${this.columns[c].label}, row ${number}${which}`);
    });
  }

  /** Show the faults; rows of which the same is said as before are left alone. */
  mark() {
    const by = new Map();
    for (const fault of this.model.get("faults")) by.set(fault.row, [...(by.get(fault.row) ?? []), fault]);
    this.rows.forEach((row, r) => {
      const faults = by.get(r) ?? [];
      const told = JSON.stringify(faults.map((fault) => [fault.column, fault.text]));
      if (told !== row.told) this.markRow(row, faults);
      row.told = told;
    });
  }

  markRow(row, faults) {
    row.why?.remove();
    row.why = null;
    const ids = new Map();
    if (faults.length) {
      row.why = make("tr", null, "", { class: "trackkit-entry-why" });
      const cell = make("td", row.why, "", { colspan: this.columns.length + 2 });
      for (const { column, text } of faults) {
        const id = `${this.id}-why-${++this.ids}`;
        const place = this.columns[column]?.label ?? "this row";
        make("p", cell, `! ${place}: ${text}`, { id });
        ids.set(column, [...(ids.get(column) ?? []), id]);
      }
      row.line.after(row.why);
    }
    sign(row.number, ids.has(-1));
    row.inputs.forEach((input, c) => {
      const said = [...(ids.get(c) ?? []), ...((c === 0 && ids.get(-1)) || [])]; // the row's: with its first cell
      sign(input.parentNode, ids.has(c));
      set(input, "aria-invalid", ids.has(c) ? "true" : null);
      set(input, "aria-describedby", said.join(" "));
    });
  }

  /** Write a text into a cell; a caret that stands there stays where it is. */
  put(row, column, text) {
    const input = row.inputs[column];
    row.values[column] = text;
    if (this.stood?.input === input) this.stood.text = text;
    if (input.value === oneLine(text)) return;
    const caret = this.here === input ? [input.selectionStart, input.selectionEnd] : null;
    input.value = oneLine(text);
    if (caret) input.setSelectionRange(...caret);
  }
}
