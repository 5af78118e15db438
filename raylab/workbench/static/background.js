// Questions that are asked while nothing moves: one at a time, and dropped as soon as a picture is asked for.

export class Background {
  constructor(workbench) {
    Object.assign(this, { workbench, open: null, waiting: [] });
    for (const event of ["change", "requested", "link"]) workbench.addEventListener(event, () => this.drop());
    workbench.addEventListener("background", ({ detail }) => this.take(detail));
  }

  /** The answer, its header with `arrays`; null where the question was dropped. A question of no kind is one of a strip. */
  ask(question) {
    return new Promise((done) => {
      this.waiting.push({ question, done });
      this.next();
    });
  }

  next() {
    if (this.open || !this.waiting.length) return;
    this.open = { ...this.waiting.shift(), id: ++this.workbench.number };
    this.workbench.link.ask({ kind: "strip", ...this.open.question, id: this.open.id });
  }

  take(header) {
    if (header.id !== this.open?.id) return; // dropped meanwhile
    const { done } = this.open;
    this.open = null;
    done(header.overtaken ? null : header);
    this.next();
  }

  drop() {
    const dropped = [...(this.open ? [this.open] : []), ...this.waiting];
    this.open = null;
    this.waiting = [];
    for (const { done } of dropped) done(null);
  }
}
