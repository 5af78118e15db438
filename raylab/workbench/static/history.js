// The panel of history: every step of this session as a line that says what it changed; a click goes there, and undo and redo go on
// from there. Beside a step stands the brightness of its stones under the present dome and view, once it has been computed.

import { el, fixed, readable } from "./controls.js";
import { facetName } from "./facet_name.js";
import { AZIMUTH, DISTANCE, SLOPE } from "./facets.js";

const MOST_NAMED = 3;
/** Pictures of which brightness and facets are remembered. */
const MOST_KEPT = 300;
const COLUMNS = [[SLOPE, "slope", "°"], [AZIMUTH, "azimuth", "°"], [DISTANCE, "distance", " mm"]];
const OTHERS = { slope_deg: ["slope change", "°"], azimuth_deg: ["azimuth change", "°"], depth_mm: ["additional depth", " mm"],
  absorption_per_mm: ["Absorption", "/mm"], material: ["Material", ""], facet: ["facet", ""] };
const KINDS = { repolished: "repolished", finished: "with its last facets", facets: "as a facet table", proportions: "by proportions" };
const same = (one, other) => JSON.stringify(one) === JSON.stringify(other);

export const history = {
  id: "history",
  title: "History",

  build(root, workbench) {
    Object.assign(this, { workbench, key: "", seen: new Map(), rows: new Map() });
    this.list = el("ol", { className: "history", tabIndex: 0, ariaLabel: "Steps of this session" });
    root.append(el("p", { className: "note" }, "The steps since the page was opened, each with its brightness. A click goes to a step; undo and redo go on from there."), this.list);
    workbench.addEventListener("answer", ({ detail: { side } }) => this.note(side));
  },

  /** Remember the brightness of an exact picture that is still what the controls say, and the facets of its stone. */
  note(side) {
    const { workbench } = this;
    const answer = workbench.answers[side];
    const design = workbench.drawn[side];
    if (answer?.step !== "exact" || !design) return;
    put(this.seen, this.scene(design), answer.summary.stats.brightness);
    if (design.kind !== "facets") put(this.rows, JSON.stringify(design), workbench.shapes[side].facets);
  },

  /** What a brightness belongs to: the design, the dome and the view. */
  scene(design) {
    const { dome, tilt_deg, tilt_azimuth_deg } = this.workbench.state;
    return JSON.stringify([design, dome, tilt_deg, tilt_azimuth_deg]);
  },

  show(workbench) {
    const present = workbench.moment();
    const begun = workbench.before && !same(workbench.before, present) ? [workbench.before] : []; // a gesture that goes on
    const past = [...workbench.past, ...begun];
    const now = past.length;
    const moments = [...past, present, ...(begun.length ? [] : workbench.future.toReversed())];
    const lines = moments.map((moment, at) => [at ? changes(moments[at - 1], moment, this).join("; ") : "As opened", this.brightness(moment)]);
    const key = JSON.stringify([now, lines]);
    if (key === this.key) return;
    this.key = key;
    this.list.replaceChildren(...lines.map(([words, bright], at) => this.line(words, bright, at, now)));
    this.list.children[now].scrollIntoView({ block: "nearest" });
  },

  line(words, bright, at, now) {
    const button = el("button", { type: "button", ariaLabel: `Step ${at}: ${words}`, ariaCurrent: at === now ? "step" : null },
      el("span", {}, words), el("span", { className: "quiet" }, bright));
    button.addEventListener("click", () => {
      this.workbench.settle();
      this.workbench.travel(at - this.workbench.past.length);
    });
    return el("li", { className: at > now ? "undone" : "" }, button);
  },

  brightness({ designs }) {
    const known = ["a", "b"].filter((side) => designs[side]).map((side) => [side, this.seen.get(this.scene(designs[side]))]);
    const one = !designs.b;
    return known.filter(([, value]) => value !== undefined).map(([side, value]) => `${one ? "" : `${side.toUpperCase()} `}${fixed(value)}`).join(", ");
  },
};

/** What one step changed, in words. */
function changes(before, after, known) {
  const pair = Boolean(before.designs.b || after.designs.b);
  const words = ["a", "b"].flatMap((side) => ofSide(side, before, after, known).map((line) => (pair ? `${side.toUpperCase()}: ${line}` : line)));
  return words.length ? words : ["title"];
}

function ofSide(side, before, after, { workbench, rows }) {
  const [old, design] = [before.designs[side], after.designs[side]];
  if (same(old, design)) return [];
  if (!design) return ["taken away"];
  if (!same(before.opened[side], after.opened[side]) && same(after.opened[side], design)) return [`opened ${after.titles[side] || design.name}`];
  if (!old) return [`added ${KINDS[design.kind]}`];
  if (old.kind !== design.kind && same(after.opened[side], design)) return ["reset to the stone as it was opened"];
  const facets = old.kind !== "facets" && design.kind === "facets" ? rows.get(JSON.stringify(old)) : undefined;
  if (facets) return few([KINDS.facets, ...ofRows({ ...(old.of ?? old), facets }, design)]);
  if (old.kind !== design.kind || !same(old.of, design.of) || old.cut !== design.cut) return [KINDS[design.kind]];
  return few(design.kind === "facets" ? ofRows(old, design) : ofKeys(old, design, workbench));
}

/** Parameters that differ, from and to. */
function ofKeys(old, design, { start }) {
  const known = [...start.cuts.flatMap(({ parameters }) => parameters), ...start.last_facets];
  return Object.keys({ ...old, ...design }).filter((key) => !same(old[key], design[key])).map((key) => {
    if (key === "inclusions") return ofInclusions(old, design);
    const about = known.find((one) => one.key === key);
    const [label, unit] = about ? [about.label, about.unit === "°" ? "°" : about.unit && ` ${about.unit}`] : OTHERS[key] ?? [key, ""];
    const word = (value) => (typeof value === "number" ? readable(value) + unit : Array.isArray(value) ? "a spectrum" : value ?? "none");
    return `${label} ${word(old[key])} → ${word(design[key])}`;
  });
}

/** Facets that differ, and their material. */
function ofRows(old, design) {
  const rows = new Map(old.facets.map((row) => [facetName(row), row]));
  const moved = design.facets.flatMap((row) => {
    const was = rows.get(facetName(row));
    if (!was) return [`${facetName(row)} new`];
    return COLUMNS.filter(([column]) => was[column] !== row[column])
      .map(([column, word, unit]) => `${facetName(row)}: ${word} ${readable(was[column])}${unit} → ${readable(row[column])}${unit}`);
  });
  const rest = Object.keys(OTHERS).filter((key) => !same(old[key], design[key])).map((key) => `${OTHERS[key][0]} changed`);
  return [...moved, ...rest, ...(same(old.inclusions, design.inclusions) ? [] : [ofInclusions(old, design)])];
}

function ofInclusions({ inclusions: old = [] }, { inclusions = [] }) {
  if (old.length !== inclusions.length) return `inclusions ${old.length} → ${inclusions.length}`;
  const changed = inclusions.findIndex((one, at) => !same(one, old[at]));
  if (("facet" in old[changed]) !== ("facet" in inclusions[changed])) return "inclusions changed"; // those of a facet table lie where they lie
  const keys = Object.keys({ ...old[changed], ...inclusions[changed] }).filter((key) => !same(old[changed][key], inclusions[changed][key]));
  return `inclusion ${changed + 1}: ${keys.join(", ").replaceAll("_mm", "").replaceAll("_", " ")} changed`;
}

/** Put a value into a map that forgets its oldest. */
function put(map, key, value) {
  map.delete(key);
  map.set(key, value);
  if (map.size > MOST_KEPT) map.delete(map.keys().next().value);
}

function few(words) {
  return words.length > MOST_NAMED ? [...words.slice(0, MOST_NAMED), `${words.length - MOST_NAMED} more`] : words;
}
