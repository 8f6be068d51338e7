// What the table does: typing, moving about, rows, blocks that are pasted. Text goes to the model exactly as it
// was typed; Python says what is wrong with it. table_view.js and table_undo.js stand before it in the same module.

const WAIT = 250; // ms after the last key until what was typed is told; a guess: longer than between two keys

/** Cells of copied text: tabs part cells, line ends part rows; cells that hold either stand in quotation marks. */
function cellsOf(text) {
  const body = text.replace(/\r\n?/g, "\n").replace(/\n$/, "");
  const cell = /("(?:[^"]|"")*"(?=[\t\n]|$)|[^\t\n]*)([\t\n]?)/y;
  const rows = [[]];
  for (;;) {
    const [, found, end] = cell.exec(body);
    const inside = found.length > 1 && found.startsWith('"') && found.endsWith('"') ? found.slice(1, -1) : "";
    rows.at(-1).push(oneLine(/[\t\n]|""/.test(inside) ? inside.replaceAll('""', '"') : found));
    if (!end) return rows;
    if (end === "\n") rows.push([]);
  }
}

class Entry extends Undoing {
  constructor(model, el) {
    super(model, el);
    this.listen();
    this.build();
  }

  listen() {
    const say = () => this.say();
    const take = () => this.telling || this.take(this.model.get("rows"));
    this.heard = {
      columns: () => this.build(), rows: take, origins: take, faults: () => this.mark(),
      first_row: () => this.name(0), caption: say, header_faults: say, notice: say,
    };
    for (const [name, act] of Object.entries(this.heard)) this.model.on(`change:${name}`, act);
    for (const event of ["keydown", "keyup", "keypress", "copy", "cut", "paste"])
      this.root.addEventListener(event, (e) => e.stopPropagation());
    this.body.addEventListener("keydown", (e) => this.key(e));
    this.body.addEventListener("input", (e) => this.typed(e.target));
    this.body.addEventListener("paste", (e) => this.paste(e));
    this.body.addEventListener("focusin", (e) => this.enter(e.target));
    this.body.addEventListener("focusout", () => {
      this.commit();
      this.tell();
    });
    this.root.addEventListener("keydown", (e) => this.historyKey(e));
    this.root.addEventListener("beforeinput", (e) => this.historyMenu(e));
    this.body.addEventListener("click", (e) => {
      const place = this.places.get(e.target);
      if (place?.column === this.columns.length && e.detail < 2) this.remove(place.row); // a double click: one
    });
    this.adder.addEventListener("click", () => this.add(this.rows.length));
    this.undoer.addEventListener("click", () => this.undo());
  }

  leave() {
    this.tell();
    for (const [name, act] of Object.entries(this.heard)) this.model.off(`change:${name}`, act);
  }

  // --- what is typed ---

  typed(input, text = input.value) {
    const place = this.places.get(input);
    if (!place) return;
    place.row.values[place.column] = text;
    this.offer();
    if (this.columns[place.column].tells) this.label(place.row, place.row.number.firstChild.data);
    this.changed = true;
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.tell(), WAIT);
  }

  /** Give Python the rows as they stand, if anything has changed. */
  tell() {
    clearTimeout(this.timer);
    if (!this.changed) return;
    this.changed = false;
    this.telling = true;
    this.model.set("origins", this.known ? this.rows.map((row) => row.origin) : []);
    this.model.set("rows", this.rows.map((row) => [...row.values]));
    this.telling = false;
    this.model.save_changes();
  }

  /** Take rows that come from Python, but for the cell that is being typed in. */
  take(rows) {
    let other = rows.length !== this.rows.length;
    while (this.rows.length > rows.length) this.drop(this.rows.at(-1));
    rows.forEach((cells, r) => {
      const row = this.rows[r] ?? this.insert(r, []);
      row.values.forEach((text, c) => {
        if (text === (cells[c] ?? "")) return;
        other = true;
        if (row.inputs[c] === this.stood?.input && this.typing) this.changed = true; // told on leaving it
        else this.put(row, c, cells[c] ?? "");
      });
    });
    if (!this.adopt(rows.length) && !other) return;
    this.forget();
    this.name(0);
    this.mark();
    this.say();
  }

  key(event) {
    const place = this.places.get(event.target);
    if (!place || event.isComposing) return;
    const { row, column } = place;
    const at = this.rows.indexOf(row);
    const input = column < this.columns.length ? event.target : null;
    const held = event.ctrlKey || event.metaKey;
    const moves = !held && !event.altKey && !event.shiftKey;
    const caret = input && input.selectionStart === input.selectionEnd ? input.selectionStart : null;
    let act = null;
    if (event.key === "Enter" && held) act = () => this.add(at + 1);
    else if (event.key === "Enter" && input) act = () => this.go(at + (event.shiftKey ? -1 : 1), column);
    else if (moves && event.key === "ArrowDown") act = () => this.go(at + 1, column);
    else if (moves && event.key === "ArrowUp") act = () => this.go(at - 1, column);
    else if (moves && event.key === "ArrowLeft" && (caret === 0 || !input)) act = () => this.go(at, column - 1);
    else if (moves && event.key === "ArrowRight" && input && caret === input.value.length)
      act = () => this.go(at, column + 1);
    else if (event.key === "Escape" && input && this.typing) act = () => this.putBack();
    if (!act) return;
    event.preventDefault();
    act();
  }

  putBack() {
    const { input, text } = this.stood;
    input.value = oneLine(text);
    input.select();
    this.typed(input, text);
  }

  go(at, column) {
    if (at === this.rows.length) this.notify("This is the last row. Ctrl+Enter adds one.");
    const row = this.rows[at];
    const node = column === this.columns.length ? row?.button : row?.inputs[column];
    node?.focus();
    node?.select?.();
  }

  // --- rows and blocks ---

  add(at) {
    this.commit();
    const before = this.state();
    this.change(at, () => this.record("add", `the new row ${this.count(at)}`, this.insert(at, []), 0, before));
    this.go(at, 0);
  }

  remove(row) {
    this.commit();
    const at = this.rows.indexOf(row);
    this.record("remove", `the removal of row ${this.count(at)}`, row, 0, this.state());
    this.change(at, () => this.drop(row));
    this.notify(`Row ${this.count(at)} removed.`);
    (this.rows[Math.min(at, this.rows.length - 1)]?.button ?? this.adder).focus();
  }

  /** The number that is shown for a row. */
  count(at) {
    return this.model.get("first_row") + at;
  }

  /** Change rows from one on; numbers, faults and Python follow. */
  change(from, act) {
    const faults = this.model.get("faults").map((fault) => [this.rows[fault.row], fault]);
    act();
    const places = new Map(this.rows.map((row, at) => [row, at]));
    const kept = faults.filter(([row]) => places.has(row));
    this.model.set("faults", kept.map(([row, fault]) => ({ ...fault, row: places.get(row) })));
    this.mark();
    this.name(from);
    this.changed = true;
    this.tell();
    this.say();
  }

  paste(event) {
    const place = this.places.get(event.target);
    const text = event.clipboardData?.getData("text/plain") ?? "";
    const room = this.columns.length - (place?.column ?? this.columns.length);
    if (!room || !/[\t\r\n]/.test(text)) return; // the browser pastes it
    event.preventDefault();
    const block = cellsOf(text);
    if (block.length === 1 && block[0].length === 1) {
      document.execCommand("insertText", false, block[0][0]); // as if it were typed
      return;
    }
    const wide = Math.max(...block.map((cells) => cells.findLastIndex((cell) => cell.trim()) + 1));
    if (wide > room) {
      const fits = `from this cell on there ${room === 1 ? "is" : "are"} ${room}`;
      this.notify(`Nothing was pasted: the block has ${wide} columns, ${fits}. Begin further left, or copy fewer.`);
      return;
    }
    this.commit();
    const before = this.state();
    const at = this.rows.indexOf(place.row);
    const last = at + block.length - 1;
    const where = last > at ? `rows ${this.count(at)} to ${this.count(last)}` : `row ${this.count(at)}`;
    this.change(at, () => {
      block.forEach((cells, i) => {
        const row = this.rows[at + i] ?? this.insert(at + i, []);
        cells.slice(0, room).forEach((cell, j) => this.put(row, place.column + j, cell));
      });
      this.record("paste", `the paste into ${where}`, place.row, place.column, before);
    });
    this.notify(`Pasted ${where}.`);
  }
}

export default {
  render({ model, el }) {
    const entry = new Entry(model, el);
    return () => entry.leave();
  },
};
