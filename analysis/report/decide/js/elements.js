// Elements: made by name, their words always set as text.

const SVG = "http://www.w3.org/2000/svg";

function dress(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === false || value === null || value === undefined) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else element.setAttribute(name, value === true ? "" : String(value));
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

/** Make an element of the page. */
function make(tag, attributes, ...children) {
  return dress(document.createElement(tag), attributes, children);
}

/** Make an element of a drawing. */
function draw(tag, attributes, ...children) {
  return dress(document.createElementNS(SVG, tag), attributes, children);
}

/** Set words only where they change, so that nothing is read out twice. */
function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/** Make a head of a table: words, then what is hidden on screen. */
function headRow(...names) {
  return make(
    "thead",
    null,
    make(
      "tr",
      null,
      ...names.map((name) => (name instanceof Element ? name : make("th", { scope: "col" }, name))),
    ),
  );
}

/** A − and + round a field for a number; `step` gets ±1, `type` the words. */
function makeStepper({ label, describedBy, step, type }) {
  const field = make("input", {
    type: "text",
    inputmode: "decimal",
    autocomplete: "off",
    spellcheck: "false",
    "aria-label": label,
    "aria-describedby": describedBy,
  });
  const less = make("button", { type: "button", "aria-label": `less ${label}` }, "−");
  const more = make("button", { type: "button", "aria-label": `more ${label}` }, "+");
  less.addEventListener("click", () => step(-1));
  more.addEventListener("click", () => step(1));
  field.addEventListener("change", () => type(field.value));
  field.addEventListener("focus", () => field.select());
  field.addEventListener("keydown", (event) => {
    const steps = { ArrowUp: 1, ArrowDown: -1, PageUp: 10, PageDown: -10 }[event.key];
    if (steps) {
      event.preventDefault();
      step(steps);
    } else if (event.key === "Enter") type(field.value);
  });
  const element = make("span", { class: "stepper" }, less, field, more);
  return { element, field, less, more };
}

/** Read a number as typed: a decimal point or comma, a true minus; NaN where it is none. */
function typedNumber(text) {
  const plain = text.trim().replace(MINUS, "-").replace(",", ".");
  return plain === "" ? NaN : Number(plain);
}
