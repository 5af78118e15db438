// The list of domes: raylab's, and those of the user's own files. The page keeps the latter and sends the one in use along.

import { el, put } from "./controls.js";

const MOST = 8;

const own = ({ ownDomes }) => ownDomes ?? [];

/** All domes to choose from: { name, description }. */
export const domesOf = (workbench) => [...workbench.start.domes, ...own(workbench.state)];

/** The keys of the dome in use where it is one of the user's own; null otherwise. */
export const ownDome = (state) => own(state).find(({ name }) => name === state.dome)?.table ?? null;

/** Take up a dome that was opened, and use it; beyond the most that are kept, the oldest goes. */
export function addDome(workbench, dome) {
  const { state } = workbench;
  state.ownDomes = [...own(state).filter(({ name }) => name !== dome.name), dome].slice(-MOST);
  workbench.look({ dome: dome.name });
}

export class Domes {
  constructor(workbench, choice, note) {
    Object.assign(this, { workbench, choice, note, key: "" });
    choice.addEventListener("change", () => workbench.look({ dome: choice.value }));
  }

  show() {
    const domes = domesOf(this.workbench);
    const key = JSON.stringify(domes.map(({ name }) => name));
    if (key !== this.key) {
      this.key = key;
      this.choice.replaceChildren(...domes.map(({ name }) => el("option", { value: name }, name.replaceAll("-", " "))));
    }
    const { dome } = this.workbench.state;
    put(this.choice, "value", dome);
    put(this.note, "textContent", domes.find(({ name }) => name === dome)?.description ?? "");
  }
}
