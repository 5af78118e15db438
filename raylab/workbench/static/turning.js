// Stones in 3D on a page without a workbench, such as a report: they turn together, and a click names a facet.

import { facetName } from "./facet_name.js";
import { StoneView } from "./stone_view.js";

/** What a view in 3D needs of the workbench: one stone, of which a facet may be chosen. */
class Alone {
  constructor({ vertices, normals, distances, loops, facets, inclusions }, changed) {
    const numbers = { vertices: new Float32Array(vertices), normals: new Float32Array(normals), distances: new Float32Array(distances) };
    this.shapes = { a: { ...numbers, loops, facets, inclusions } };
    this.answers = {};
    this.path = null;
    this.state = { editing: "a", facet: null };
    this.changed = changed;
  }

  look({ facet }) {
    this.state.facet = facet;
    this.changed();
  }
}

class Turned extends StoneView {
  spin(dx, dy) {
    super.spin(dx, dy);
    this.lead();
  }

  look(sight) {
    super.look(sight);
    this.lead();
  }

  /** The other stones turn likewise. */
  lead() {
    for (const other of this.others ?? []) {
      other.turn = [...this.turn];
      other.draw();
    }
  }
}

/** Show stones in figures with a canvas, a note for browsers without WebGL and a line for the facet; `buttons` turn all of them. */
export function showStones(figures, stones, buttons) {
  const views = figures.map((figure, k) => {
    const [canvas, missing, facet] = ["canvas", "[data-missing]", "[data-facet]"].map((part) => figure.querySelector(part));
    const alone = new Alone(stones[k], () => {
      const row = stones[k].facets.find((one) => facetName(one) === alone.state.facet);
      facet.textContent = row ? ` · ${alone.state.facet}: slope ${row[2]}°, azimuth ${row[3]}°` : "";
      view.draw();
    });
    const view = new Turned(alone, canvas, missing);
    figure.addEventListener("wheel", (event) => { if (!event.ctrlKey) event.stopPropagation(); }, { capture: true }); // the page scrolls
    view.take();
    return view;
  });
  for (const view of views) view.others = views.filter((other) => other !== view);
  for (const button of buttons) button.addEventListener("click", () => views[0]?.look(button.dataset.sight));
}
