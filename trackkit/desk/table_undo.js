// What was done in the table can be undone, last first: each step keeps the rows as they stood before it.
// table_view.js stands before it in the same module, table.js after it.

const STEPS = 200; // that can be undone; a guess: more than a crew types between two looks

class Undoing extends Shown {
  enter(node) {
    const { row, column } = this.places.get(node) ?? {};
    this.stood = row && column < this.columns.length ? { input: node, text: row.values[column] } : null;
  }

  /** Whether the text of the cell that has the focus is another than when it got it. */
  get typing() {
    return this.places.has(this.stood?.input) && this.stood.input.value !== oneLine(this.stood.text);
  }

  /** Let the button say what it would undo. */
  offer() {
    const kind = this.typing ? "edit" : this.undos.at(-1)?.kind;
    this.undoer.hidden = !kind;
    this.undoer.textContent = kind ? `Undo ${kind}` : "";
  }

  /** Nothing that was done can be undone any more. */
  forget() {
    this.undos = [];
    this.redos = [];
  }

  /** The rows as they stand, to be put back by `restore`. */
  state() {
    return this.rows.map((row) => ({ row, values: [...row.values] }));
  }

  restore(state) {
    const kept = new Set(state.map(({ row }) => row));
    for (const row of this.rows.filter((one) => !kept.has(one))) this.drop(row);
    state.forEach(({ row, values }, at) => {
      if (this.rows[at] !== row) this.place(at, row);
      values.forEach((text, c) => this.put(row, c, text));
    });
  }

  /** Keep how rows stood before something was done; the place is where to go when it is undone. */
  record(kind, what, row, column, before) {
    this.undos.push({ kind, what, row, column, at: this.rows.indexOf(row), before });
    if (this.undos.length > STEPS) this.undos.shift();
    this.redos = [];
  }

  /** Keep what was typed into the cell that has the focus as a step of its own. */
  commit() {
    if (!this.typing) return;
    const { input, text } = this.stood;
    const { row, column } = this.places.get(input);
    const before = this.state();
    before[this.rows.indexOf(row)].values[column] = text;
    const [from, to] = [oneLine(text), input.value].map((one) => one.trim() || "nothing");
    this.record("edit", `the change of ${this.called(row, column)} from ${from} to ${to}`, row, column, before);
    this.stood.text = row.values[column];
    this.say();
  }

  called(row, column) {
    return `${this.columns[column].label}, row ${this.count(this.rows.indexOf(row))}`;
  }

  undo() {
    if (!this.typing) return this.step(this.undos, this.redos, "Undone");
    const { row, column } = this.places.get(this.stood.input);
    this.putBack();
    this.notify(`Undone: what was typed into ${this.called(row, column)}.`);
  }

  redo() {
    this.commit();
    this.step(this.redos, this.undos, "Done again");
  }

  step(from, to, word) {
    const last = from.pop();
    if (!last) return this.notify(`There is nothing to ${word === "Undone" ? "undo" : "do again"}.`);
    to.push({ ...last, before: this.state() });
    this.change(0, () => this.restore(last.before));
    this.notify(`${word}: ${last.what}.`);
    const at = this.rows.indexOf(last.row);
    if (this.rows.length) this.go(at < 0 ? Math.min(last.at, this.rows.length - 1) : at, last.column);
    else this.adder.focus();
  }

  /** Ctrl+Z, and Ctrl+Shift+Z or Ctrl+Y: the browser's own would change a cell that was left long ago. */
  historyKey(event) {
    if (!(event.ctrlKey || event.metaKey) || event.altKey || event.isComposing) return;
    const key = event.key.toLowerCase();
    if (key !== "z" && (key !== "y" || event.shiftKey)) return;
    event.preventDefault();
    if (key === "z" && !event.shiftKey) this.undo();
    else this.redo();
  }

  /** The same from the browser's menu. */
  historyMenu(event) {
    const act = { historyUndo: () => this.undo(), historyRedo: () => this.redo() }[event.inputType];
    if (!act) return;
    event.preventDefault();
    if (event.defaultPrevented) act();
  }
}
