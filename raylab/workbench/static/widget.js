// What a notebook loads: it makes modules of the sources that `rl.explore` puts in place of the two words below. Each view has
// modules of its own, because panels keep their controls in their modules.

const SOURCES = __SOURCES__;
const STYLE = __STYLE__;

export default {
  async render({ model, el }) {
    const made = new Map();
    const address = (name) => {
      if (!made.has(name)) {
        const folder = name.slice(0, name.lastIndexOf("/") + 1);
        const source = SOURCES[name].replace(/(from|import) "\.\/([\w./]+)"/g, (_, word, other) => `${word} "${address(folder + other)}"`);
        made.set(name, URL.createObjectURL(new Blob([source], { type: "text/javascript" })));
      }
      return made.get(name);
    };
    const { build } = await import(address("explorer.js"));
    for (const one of made.values()) URL.revokeObjectURL(one);
    return build(model, el, STYLE);
  },
};
