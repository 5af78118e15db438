// Numbers of a stone along one key of its design or of the view, with everything else as it is: what is computed, and where.
//
// A range has a fixed number of places. Some are computed for a first glance, more as time allows; see strips.js.

/** Computed places along a range, from a first glance to the whole; each holds the ones before. */
export const COUNTS = [9, 17, 33];
const PLACES = Math.max(...COUNTS);

/** The `key` of the number that curves show, where it is computed only if a question asks for it; see `start.strips`. */
let asked = "";

/** Curves show another number, a row of `start.strips`, or none. */
export function show(figure) {
  asked = figure?.asked ? figure.key : "";
}

/** Points that were computed, by what they are of: a curve that comes back, or is shown twice, is not computed anew. */
const KNOWN = new Map();
const MOST_KNOWN = 64;

/** The points of one curve; the curve that was looked at longest ago goes first. */
function pointsOf(name) {
  const points = KNOWN.get(name) ?? [];
  KNOWN.delete(name);
  KNOWN.set(name, points);
  if (KNOWN.size > MOST_KNOWN) KNOWN.delete(KNOWN.keys().next().value);
  return points;
}

export class Curve {
  /**
   * `source()` gives the { key, design, side } that the curve runs along, without `design` and `side` those of the page; null
   * where it has none now. `about` is its { low, high }.
   */
  constructor(source, about) {
    Object.assign(this, { source, about, name: "", points: [], asked: null });
  }

  /** The question for the page's scene, and the name of what it asks for; null where there is nothing to ask. */
  questionOf(scene) {
    const source = this.source();
    if (!source) return null;
    const { key, design = scene.design, side = scene.side } = source;
    const whole = { ...scene, design, side, key, number: asked };
    const others = key in scene ? { ...whole, [key]: null } : { ...whole, design: { ...design, [key]: null } };
    return { whole, name: JSON.stringify({ ...others, side: "" }) };
  }

  /** Take up the scene of the page; what was computed stays where it is still true. False where there is nothing to compute. */
  prepare(scene) {
    const question = this.questionOf(scene);
    if (!question) return false;
    if (question.name !== this.name) {
      this.name = question.name;
      this.points = pointsOf(this.name);
    }
    this.asked = question.whole;
    return true;
  }

  /** The places among `count` that are not computed yet. */
  missing(count) {
    const step = (PLACES - 1) / (count - 1);
    return Array.from({ length: count }, (_, k) => k * step).filter((place) => !this.points[place]);
  }

  value(place) {
    return this.about.low + ((this.about.high - this.about.low) * place) / (PLACES - 1);
  }

  question(places) {
    return { ...this.asked, step: "coarse", values: places.map((place) => this.value(place)) };
  }

  /** Take up an answer: the first of the places that were asked for. */
  take({ values, numbers, errors, brackets, reasons }, places) {
    values.forEach((_, k) => {
      const at = (table) => Object.fromEntries(Object.entries(table).map(([key, column]) => [key, column[k]]));
      this.points[places[k]] = { numbers: at(numbers), errors: at(errors), brackets: at(brackets), reason: reasons[k] };
    });
  }

  /** Computed points of a number in runs without a gap: { at, value, low, high }. Its band is its bracket, or ends `coverage` errors away. */
  runs(name, coverage) {
    const runs = [[]];
    this.points.forEach((point, place) => {
      const value = point.numbers[name];
      if (value === null || value === undefined) return void runs.push([]);
      const error = coverage * (point.errors[name] ?? 0);
      const [low, high] = point.brackets[name] ?? [value - error, value + error];
      runs.at(-1).push({ at: this.value(place), value, low, high });
    });
    return runs.filter((run) => run.length);
  }

  /** A number between the computed places, on the line that joins them; NaN in a gap. */
  near(name, at) {
    for (const run of this.runs(name, 0)) {
      for (let k = 0; k < run.length; k++) {
        const [one, next] = [run[k], run[k + 1] ?? run[k]];
        if (at < one.at || at > next.at) continue;
        const share = next.at > one.at ? (at - one.at) / (next.at - one.at) : 0;
        return one.value + share * (next.value - one.value);
      }
    }
    return NaN;
  }
}

/** A shape of a drawing. */
export function shape(name, values) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(values)) made.setAttribute(key, value);
  return made;
}

/** The ends of a scale that holds all runs, at least `span` apart. It begins below zero only if a number is there. */
export function scaleOf(runs, span) {
  const all = runs.flat();
  const [low, high] = [Math.min(...all.map(({ low }) => low)), Math.max(...all.map(({ high }) => high))];
  const floor = Math.min(0, ...all.map(({ value }) => value));
  const first = Math.max(floor, low - Math.max(0, span - (high - low)) / 2);
  return [first, Math.max(high, first + span)];
}

/** Runs as the paths of a line and of its band; `across` and `up` put a place and a value on the drawing. */
export function pathsOf(runs, across, up) {
  const joined = (points) => points.map(([x, y], k) => `${k ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(2)}`).join("");
  const placed = runs.map((run) => ends(run.map(({ at, value, low, high }) => ({ x: across(at), value: up(value), low: up(low), high: up(high) }))));
  return {
    line: placed.map((run) => joined(run.map(({ x, value }) => [x, value]))).join(""),
    band: placed.map((run) => joined([...run.map(({ x, low }) => [x, low]), ...run.toReversed().map(({ x, high }) => [x, high])]) + "Z").join(""),
  };
}

/** A run that can be seen: a single point becomes a short dash. */
function ends(run) {
  return run.length > 1 ? run : [{ ...run[0], x: run[0].x - 2 }, { ...run[0], x: run[0].x + 2 }];
}
