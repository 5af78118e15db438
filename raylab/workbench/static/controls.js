// Small parts that panels are made of.

let made = 0;

/** An element with properties, attributes (names with a dash, or in `aria`/`data` style) and children. */
export function el(tag, values = {}, ...children) {
  const element = document.createElement(tag);
  for (const [key, value] of Object.entries(values)) {
    if (key in element && !key.includes("-")) element[key] = value;
    else element.setAttribute(key, value);
  }
  element.append(...children);
  return element;
}

/** Set a property that is shown, if it is another one: a browser lays the page out anew for the same text, too, and a slider that
 * moves shows all controls with each step. */
export function put(element, property, value) {
  if (element[property] !== value) element[property] = value;
}

/**
 * A slider with a number field and a unit.
 *
 * `about`: { key, label, unit, spoken, low, high, step, least, most }: the slider runs from low to high, the field takes
 * least to most. `strip` is drawn below it, see strip.js. `set(value, rested)` is called with each change. Returns
 * { element, show(value), mark(invalid) }.
 */
export function slider(about, set) {
  const id = `field-${about.key}-${++made}`;
  const { label, unit, low, high, step } = about;
  const spoken = unit ? `${label}, ${about.spoken ?? unit}` : label;
  const field = el("input", {
    id, type: "number", min: about.least ?? low, max: about.most ?? high, step: about.fine ?? "any", "aria-label": spoken,
    "data-field": about.key, autocomplete: "off",
  });
  const range = el("input", {
    type: "range", min: low, max: high, step, "aria-label": `${spoken}, slider`, "data-slider": about.key, autocomplete: "off",
  });
  const strip = about.strip?.below(about, id, range);
  let now = NaN;
  const show = (value) => {
    now = value;
    if (field.dataset.typed !== "1" || field.getRootNode().activeElement !== field) put(field, "value", tidy(value));
    if (range.valueAsNumber !== value) range.value = value;
    strip?.mark(value);
    put(range, "ariaValueText", `${tidy(value)} ${about.spoken ?? unit ?? ""}`.trim());
  };
  range.addEventListener("input", () => set(Number(range.value), false));
  range.addEventListener("change", () => set(Number(range.value), true));
  field.addEventListener("input", () => { field.dataset.typed = "1"; });
  field.addEventListener("change", () => {
    field.dataset.typed = "0";
    if (field.value !== "" && Number.isFinite(field.valueAsNumber)) set(field.valueAsNumber, true);
    else show(now);
  });
  field.addEventListener("blur", () => { field.dataset.typed = "0"; });
  const element = el("div", { className: strip ? "slider with-strip" : "slider" },
    el("label", { htmlFor: id }, label), field, el("span", { className: "unit", ariaHidden: "true" }, unit ?? ""), range,
    ...(strip ? [strip.element] : []));
  return { element, show, mark: (invalid) => field.setAttribute("aria-invalid", String(invalid)) };
}

/** The slider of a parameter, as the server states it: { key, label, unit, spoken, least, most, slider: { low, high, step } }. */
export function parameterSlider(about, set, key = about.key) {
  const one = slider({ ...about, ...about.slider, key }, set);
  one.element.title = about.description;
  return one;
}

/**
 * The slider of a parameter that may be left unset, with a checkbox before it; without `unset` the slider alone. `first()` gives
 * the value that a tick begins with.
 */
export function optionalSlider(about, set, first, key = about.key) {
  const one = parameterSlider(about, set, key);
  if (about.unset === null) return one;
  const box = el("input", { type: "checkbox", "data-box": key });
  box.addEventListener("change", () => set(box.checked ? first() : null, true));
  const label = el("label", { className: "row" },
    el("span", {}, `${about.label} `, el("span", { className: "quiet" }, `(if unchecked, ${about.unset})`)), box);
  return {
    element: el("div", {}, label, one.element),
    show: (value) => {
      box.checked = value !== null && value !== undefined;
      one.element.hidden = !box.checked;
      if (box.checked) one.show(value);
    },
    mark: one.mark,
  };
}

/** A number without the dust of binary fractions. */
export function tidy(value, digits = 4) {
  return Number.isFinite(value) ? String(Number(value.toFixed(digits))) : "";
}

/** The same for a reader, with a true minus sign; an input takes a hyphen alone. */
export function readable(value, digits) {
  return tidy(value, digits).replace("-", "−");
}

/** "0.4312", or a dash where there is no number. */
export function fixed(value, digits = 4) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const text = value.toFixed(digits);
  return Number(text) === 0 ? text.replace("-", "") : text.replace("-", "−");
}

/** The same with its sign, a plus as well, but none before a zero. */
export function signed(value, digits) {
  const text = fixed(value, digits);
  return value > 0 && Number(text) !== 0 ? `+${text}` : text;
}
