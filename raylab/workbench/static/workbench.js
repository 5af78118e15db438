// The state of the page: designs, light and view; and the requests to raylab.
//
// The page holds the designs. Every change requests a coarse picture, and a pause requests an exact one. Each request is
// complete in itself, so an answer is either the latest one or is replaced by a later one.

import { ownDome } from "./domes.js";
import { keep, kept } from "./session.js";
import { Link } from "./link.js";

/** How long nothing must change before an exact picture is asked for: while a slider is held, and after it was let go or a number typed.
 * A key that is held repeats itself within the latter. */
const REST_MS = 140;
const RELEASED_MS = 60;
const MOST_STEPS = 200;
/** Open requests per stone: one in work, one waiting. With more, answers pile up in a slow browser. */
const MOST_OPEN = 2;
/** Maps that the page makes itself, from that of luminance or beside it. */
const MADE_HERE = ["difference", "color", "live"];
/** Kinds of question that are asked while nothing moves, see background.js. */
const BACKGROUND = ["strip", "dark", "inclusions"];
const copy = (value) => structuredClone(value);
const same = (one, other) => JSON.stringify(one) === JSON.stringify(other);

/** Where the page's answers come from and its state is kept; a notebook has another place. */
const PAGE = { connect: (...on) => new Link(...on), kept, keep };

export class Workbench extends EventTarget {
  constructor(start, place = PAGE) {
    super();
    this.start = start;
    this.place = place;
    this.past = [];
    this.future = [];
    this.before = null;
    this.answers = { a: null, b: null };
    this.shapes = { a: null, b: null };
    this.drawn = { a: null, b: null };
    this.path = null;
    this.aim = null;
    this.faulty = new Set();
    this.touched = { a: new Set(), b: new Set() };
    this.number = 0;
    this.resting = 0;
    this.due = false;
    this.requested = { a: 0, b: 0 };
    this.shown = { a: 0, b: 0 };
    this.meant = { a: null, b: null };
    this.sent = { a: [], b: [] };
    this.held = { a: null, b: null };
    this.state = place.kept(start) ?? {
      designs: { a: copy(start.design), b: null },
      opened: { a: copy(start.design), b: null },
      titles: { a: start.title, b: "" },
      editing: "a",
      dome: start.dome,
      tilt_deg: start.tilt_deg,
      tilt_azimuth_deg: start.tilt_azimuth_deg,
      maps: ["luminance", "contrast"],
      facet: null,
    };
    this.link = place.connect(
      (header, arrays) => this.take(header, arrays),
      () => this.reopen(),
      (word) => this.notify("link", word),
    );
  }

  notify(type, detail) {
    this.dispatchEvent(new CustomEvent(type, { detail }));
  }

  get sides() {
    return this.state.designs.b ? ["a", "b"] : ["a"];
  }

  get design() {
    return this.state.designs[this.state.editing];
  }

  /** Keys of a stone's controls at fault: the one that the server names, or else all that were changed since the last valid stone. */
  blamed({ key, side }) {
    if (!side) return []; // a file's fault is not that of the controls
    const changed = this.touched[side];
    const within = key?.split("#")[0]; // inclusions#2.radius_mm is a fault in the list of inclusions
    return changed.size && !changed.has(within) ? [...changed] : [key];
  }

  /** The server's record of a cut; undefined for an unknown cut. */
  cutNamed(name) {
    return this.start.cuts.find((cut) => cut.name === name);
  }

  /** Whether a facet, by its row, belongs to the girdle. */
  onGirdle([tier]) {
    return tier === this.start.girdle;
  }

  /** Keep the state for a reload of this tab. */
  keep() {
    this.place.keep(this.start, this.state);
  }

  // --- changes ---------------------------------------------------------------------------------------------------------

  /** Change keys of the edited design; `rested` ends a gesture, which becomes one step of undo. */
  edit(values, rested = true) {
    this.before ??= this.moment();
    for (const key of Object.keys(values)) this.touched[this.state.editing].add(key);
    Object.assign(this.design, values);
    this.dropPath();
    this.changed([this.state.editing], rested);
  }

  /** Replace designs as a whole: open, compare, reset. */
  replace(designs, more = {}, rested = true) {
    this.before ??= this.moment();
    for (const side of Object.keys(designs)) this.touched[side].clear();
    Object.assign(this.state.designs, copy(designs));
    Object.assign(this.state, more);
    if (!this.state.designs.b) this.forget("b");
    this.dropPath();
    this.changed(Object.keys(designs), rested);
  }

  /** Remove material from the edited stone. A single stone keeps its place and the result becomes B; of two, the result replaces it. */
  rework(kind, values, rested) {
    if (this.design.kind === kind) return this.edit(values, rested);
    const { editing, designs, opened, titles } = this.state;
    const of = this.design.of ? this.asTable(editing) : copy(this.design);
    if (!of) return undefined;
    const beside = { editing: "b", opened: { ...opened, b: of }, titles: { ...titles, b: titles.a } };
    return this.replace({ [designs.b ? editing : "b"]: { kind, of, ...values } }, designs.b ? {} : beside, rested);
  }

  /** A side's stone as a facet table; null with a message while the shown stone is not up to date. */
  asTable(side) {
    const design = this.state.designs[side];
    if (design.kind === "facets") return copy(design);
    if (!same(this.drawn[side], design)) {
      this.notify("problem", { text: "The stone is not computed yet; try again when its picture is up to date." });
      return null;
    }
    const { name, symmetry, measured, facets, inclusions } = this.shapes[side];
    const { cut, material, absorption_per_mm } = design.of ?? design;
    const inside = inclusions.length ? { inclusions: copy(inclusions) } : {};
    return { kind: "facets", name, cut, material, absorption_per_mm, symmetry, measured, facets: copy(facets), ...inside };
  }

  /** Change view, dome, maps or facet: no step of undo, and new requests for both stones. */
  look(values, rested = true) {
    Object.assign(this.state, values);
    if (Object.keys(values).some((key) => key !== "maps" && key !== "facet")) this.dropPath();
    this.changed(this.sides, rested);
  }

  /** A path belongs to one design and one view; it goes when either changes. */
  dropPath() {
    if (!this.path) return;
    this.path = null;
    this.notify("path", null);
  }

  changed(sides, rested) {
    if (rested) this.settle();
    this.notify("change", { rested });
    for (const side of this.sides) if (sides.includes(side)) this.request(side, rested ? RELEASED_MS : REST_MS);
    this.busy();
  }

  /** What undo brings back: designs, their titles, and the designs that Reset returns to. */
  moment() {
    const { designs, titles, opened } = this.state;
    return copy({ designs, titles, opened });
  }

  settle() {
    if (this.before && !same(this.before, this.moment())) {
      this.past.push(this.before);
      if (this.past.length > MOST_STEPS) this.past.shift();
      this.future = [];
    }
    this.before = null;
    this.keep();
  }

  undo() {
    this.step(this.past, this.future);
  }

  redo() {
    this.step(this.future, this.past);
  }

  /** Undo (negative) or redo several steps at once. */
  travel(steps) {
    if (steps < 0) this.step(this.past, this.future, -steps);
    else if (steps > 0) this.step(this.future, this.past, steps);
  }

  step(from, to, count = 1) {
    this.settle();
    if (from.length < count) return;
    for (; count; count--) {
      to.push(this.moment());
      Object.assign(this.state, from.pop());
    }
    if (!this.state.designs.b) this.forget("b");
    for (const side of ["a", "b"]) this.touched[side].clear();
    this.dropPath();
    this.changed(["a", "b"], true);
  }

  forget(side) {
    if (this.state.editing === side) this.state.editing = "a";
    this.answers[side] = this.shapes[side] = this.drawn[side] = null;
    this.faulty.delete(side);
    this.held[side] = null;
    this.shown[side] = this.requested[side] = 0;
  }

  // --- questions and answers -------------------------------------------------------------------------------------------

  /** A coarse picture now, an exact one after a pause. */
  request(side, pause_ms) {
    this.ask(side, "coarse");
    clearTimeout(this.resting);
    this.resting = setTimeout(() => this.rest(), pause_ms);
  }

  /** Request exact pictures, but after the coarse ones have arrived: a slow machine would be busy with both. */
  rest() {
    this.resting = 0;
    this.due = this.sides.some((side) => this.shown[side] !== this.requested[side]);
    if (this.due) return;
    this.settle();
    this.notify("rest");
    this.askAll("exact");
  }

  /** The link is open again: open requests are lost, and a new server has no state. */
  reopen() {
    clearTimeout(this.resting);
    this.resting = 0;
    this.due = false;
    this.sent = { a: [], b: [] };
    this.askAll("exact");
  }

  askAll(step) {
    for (const side of this.sides) this.ask(side, step);
  }

  scene(side) {
    const { dome, tilt_deg, tilt_azimuth_deg } = this.state;
    return { side, design: this.state.designs[side], dome, own_dome: ownDome(this.state), tilt_deg, tilt_azimuth_deg };
  }

  /** Request a picture; with enough open requests, only note it, so that the next request is the latest one. */
  ask(side, step) {
    this.requested[side] = ++this.number;
    this.held[side] = this.sent[side].length < MOST_OPEN ? null : step;
    if (this.held[side]) return this.busy();
    this.sent[side].push(this.number);
    this.meant[side] = copy(this.state.designs[side]);
    const maps = new Set(this.state.maps.map((name) => (MADE_HERE.includes(name) ? "luminance" : name)));
    const live = this.state.maps.includes("live");
    this.link.ask({ kind: "picture", id: this.number, step, maps: [...maps], live, facet: this.state.facet, ...this.scene(side) });
    this.notify("requested", { side, id: this.number });
    return this.busy();
  }

  /** Follow the view ray through a point of a map. */
  follow(side, x_mm, y_mm) {
    this.link.ask({ kind: "ray", id: ++this.number, x_mm, y_mm, ...this.scene(side) });
  }

  /** Ask where a click plots an inclusion of the edited stone, see inclusions.js. */
  plot(where) {
    this.link.ask({ kind: "plot", id: ++this.number, ...where, ...this.scene(this.state.editing) });
  }

  take(header, arrays) {
    if (BACKGROUND.includes(header.kind)) {
      this.notify("background", { ...header, arrays });
    } else if (header.kind === "light") {
      this.notify("light", header);
    } else if (header.kind !== "picture" && header.error) {
      this.notify("problem", header.error);
    } else if (header.kind === "ray" && !header.overtaken) {
      this.path = { side: header.side, at: [header.x_mm, header.y_mm], ...header.path };
      this.notify("path", this.path);
    } else if (header.kind === "plot" && !header.overtaken) {
      if (header.side === this.state.editing) this.notify("plotted", header.plotted);
    } else if (header.kind === "picture") {
      const { side, id } = header;
      if (!header.overtaken && this.state.designs[side] && id > this.shown[side]) this.show(header, arrays);
      this.sent[side] = this.sent[side].filter((one) => one > id); // a replaced question is never answered
      if (this.held[side]) this.ask(side, this.held[side]);
    }
  }

  show(header, arrays) {
    const side = header.side;
    this.shown[side] = header.id;
    if (header.error) {
      this.faulty.add(side);
      this.notify("problem", { ...header.error, side });
    } else {
      this.faulty.delete(side);
      if (header.id === this.requested[side]) this.touched[side].clear();
      this.drawn[side] = header.id === this.requested[side] ? this.meant[side] : null;
      const { vertices, normals, distances, loops, sizes } = arrays;
      this.shapes[side] = { ...header.shape, vertices, normals, distances, loops: split(loops, sizes) };
      const measured = header.measured ?? this.answers[side]?.measured ?? null;
      this.answers[side] = { ...header, measured, arrays };
    }
    this.notify("answer", { side, error: header.error });
    if (this.due && !this.resting) this.rest();
    this.busy();
  }

  /** "exact": the pictures are exact and match the controls; "fault": the controls give no stone; else "busy". */
  get status() {
    const settled = !this.resting && !this.due && this.sides.every((side) => this.shown[side] === this.requested[side]);
    if (settled && this.sides.some((side) => this.faulty.has(side))) return "fault";
    return settled && this.sides.every((side) => this.answers[side]?.step === "exact") ? "exact" : "busy";
  }

  busy() {
    this.notify("status", this.status);
  }
}

function split(loops, sizes) {
  let at = 0;
  return Array.from(sizes, (size) => loops.subarray(at, (at += size)));
}
