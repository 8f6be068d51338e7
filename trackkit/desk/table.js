// What the table does: typing, moving about, rows, blocks that are pasted. Text goes to the model exactly as it
// was typed; Python says what is wrong with it. table_view.js stands before it in the same module.

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

class Entry extends Shown {
  constructor(model, el) {
    super(model, el);
    this.listen();
    this.build();
  }

  listen() {
    const say = () => this.say();
    this.heard = {
      columns: () => this.build(), rows: () => this.take(this.model.get("rows")), faults: () => this.mark(),
      first_row: () => this.name(0), caption: say, header_faults: say, notice: say,
    };
    for (const [name, act] of Object.entries(this.heard)) this.model.on(`change:${name}`, act);
    for (const event of ["keydown", "keyup", "keypress", "copy", "cut", "paste"])
      this.root.addEventListener(event, (e) => e.stopPropagation());
    this.body.addEventListener("keydown", (e) => this.key(e));
    this.body.addEventListener("input", (e) => this.typed(e.target));
    this.body.addEventListener("paste", (e) => this.paste(e));
    this.body.addEventListener("focusin", (e) => (this.stood = e.target.value));
    this.body.addEventListener("focusout", () => this.tell());
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

  typed(input) {
    const place = this.places.get(input);
    if (!place) return;
    place.row.values[place.column] = input.value;
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
    this.model.set("rows", this.rows.map((row) => [...row.values]));
    this.model.save_changes();
  }

  /** Take rows that come from Python, but for the cell that is being typed in. */
  take(rows) {
    const here = this.here;
    let other = rows.length !== this.rows.length;
    while (this.rows.length > rows.length) this.drop(this.rows.at(-1));
    rows.forEach((cells, r) => {
      const row = this.rows[r] ?? this.insert(r, []);
      row.values.forEach((text, c) => {
        if (text === (cells[c] ?? "")) return;
        other = true;
        if (row.inputs[c] === here && here.value !== this.stood) this.changed = true; // told on leaving it
        else this.put(row, c, cells[c] ?? "");
      });
    });
    if (!other) return;
    this.undos = [];
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
    else if (event.key === "Escape" && input && input.value !== this.stood) act = () => this.putBack(input);
    if (!act) return;
    event.preventDefault();
    act();
  }

  putBack(input) {
    input.value = this.stood;
    input.select();
    this.typed(input);
  }

  go(at, column) {
    if (at === this.rows.length) this.notify("This is the last row. Ctrl+Enter adds one.");
    const row = this.rows[at];
    const node = column === this.columns.length ? row?.button : row?.inputs[column];
    node?.focus();
    node?.select?.();
  }

  // --- rows and blocks ---

  add(at, texts = []) {
    this.insert(at, texts);
    this.settle(at, 1);
    this.go(at, 0);
  }

  remove(row) {
    const at = this.rows.indexOf(row);
    this.undos.push({ kind: "remove", row, at, after: this.rows[at - 1] });
    this.drop(row);
    this.settle(at, -1);
    this.notify(`Row ${this.model.get("first_row") + at} removed.`);
    (this.rows[Math.min(at, this.rows.length - 1)]?.button ?? this.adder).focus();
  }

  /** After a row came or went: numbers, faults and Python follow. */
  settle(at, by) {
    const kept = this.model.get("faults").filter((fault) => by > 0 || fault.row !== at);
    const moved = kept.map((fault) => (fault.row >= at ? { ...fault, row: fault.row + by } : fault));
    this.model.set("faults", moved);
    this.name(at);
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
      document.execCommand("insertText", false, block[0][0]); // so that Ctrl+Z takes it back
      return;
    }
    const wide = Math.max(...block.map((cells) => cells.findLastIndex((cell) => cell.trim()) + 1));
    if (wide > room) {
      const fits = `from this cell on there ${room === 1 ? "is" : "are"} ${room}`;
      this.notify(`Nothing was pasted: the block has ${wide} columns, ${fits}. Begin further left, or copy fewer.`);
      return;
    }
    const at = this.rows.indexOf(place.row);
    const olds = [], added = [];
    block.forEach((cells, i) => {
      if (at + i === this.rows.length) added.push(this.insert(at + i, []));
      const row = this.rows[at + i];
      cells.slice(0, room).forEach((cell, j) => {
        olds.push([row, place.column + j, row.values[place.column + j]]);
        this.put(row, place.column + j, cell);
      });
    });
    this.undos.push({ kind: "paste", olds, added });
    this.settle(this.rows.length, 1);
    this.name(at);
    const from = this.model.get("first_row") + at;
    this.notify(block.length > 1 ? `Pasted rows ${from} to ${from + block.length - 1}.` : `Pasted row ${from}.`);
  }

  undo() {
    const last = this.undos.pop();
    if (last.kind === "remove") this.bringBack(last);
    else this.takeBack(last);
  }

  bringBack({ row, at, after }) {
    const above = this.rows.indexOf(after);
    const where = above < 0 ? Math.min(at, this.rows.length) : above + 1;
    this.add(where, row.values);
    this.notify(`Row ${this.model.get("first_row") + where} is back.`);
  }

  takeBack({ olds, added }) {
    for (const [row, column, text] of olds) if (this.rows.includes(row)) this.put(row, column, text);
    const blank = (row) => this.rows.includes(row) && !row.values.some((text) => text.trim());
    for (const row of added.filter(blank)) this.drop(row);
    this.settle(this.rows.length, 1);
    this.name(0);
    this.notify("The paste is undone.");
    this.go(Math.max(0, this.rows.indexOf(olds[0][0])), olds[0][1]);
  }
}

export default {
  render({ model, el }) {
    const entry = new Entry(model, el);
    return () => entry.leave();
  },
};
