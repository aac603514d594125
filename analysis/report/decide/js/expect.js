// What a recipe is expected to give, beside each limit: value, one new run, room, chance.

/** What is to be expected, response by response, beside its limit. */
function makeExpectTable(data, letter) {
  const lines = data.responses.map((response, i) =>
    makeExpectLine(data, response, `hatch-${letter}-${i}`),
  );
  const untold = data.untold.map((one) =>
    make(
      "tr",
      null,
      make("th", { scope: "row" }, one.name),
      make("td", { colspan: 5, class: "w" }, `not modelled: ${one.why}`),
    ),
  );
  const joint = make("p", { class: "joint" });
  const percent = Math.round(100 * data.level);
  const element = make(
    "div",
    null,
    make(
      "table",
      { class: "expect" },
      make("caption", { class: "unseen" }, `What recipe ${letter} is expected to give`),
      headRow(
        "to read",
        "expected",
        `one new run, ${percent}${SPACE}%`,
        "limit",
        "room left",
        "chance",
      ),
      ...lines.map((line) => line.element),
      make("tbody", null, ...untold),
    ),
    joint,
  );
  return {
    element,
    show(told) {
      lines.forEach((line, i) => line.show(told[i]));
      say(joint, jointWords(data, told));
    },
  };
}

function makeExpectLine(data, response, id) {
  const ruler = makeRuler(data, response, id);
  const cells = ["expected", "one new run", "limit", "room left", "chance"].map((head) =>
    make("td", { "data-head": head }),
  );
  const [value, run, limit, room, chance] = cells;
  const is =
    response.kind === "computed" ? "computed" : response.valueIs === "median" ? "median" : "";
  say(limit, response.limits.map((one) => one.words).join(", ") || MISSING);
  const element = make(
    "tbody",
    { class: "one" },
    make(
      "tr",
      null,
      make(
        "th",
        { scope: "row" },
        response.name,
        make("small", null, [response.unit, is].filter(Boolean).join("; ")),
      ),
      ...cells,
    ),
    make(
      "tr",
      { class: "drawn" },
      make("td", { colspan: 6 }, ruler.element, controlsNote(response)),
    ),
  );
  return {
    element,
    show(told) {
      const error = errorOf(told.run);
      const met = response.limits.every((one) => isMet(one, told.value));
      say(value, withError(told.value, error));
      // Counts are whole, whatever the error of their mean.
      say(run, intervalText(told.run, response.kind === "count" ? NaN : error));
      const margins = response.limits.map((one) => marginOf(one, told.value));
      const least = Math.min(...margins);
      const left = margins.length ? withError(Math.abs(least), error) : MISSING;
      say(
        room,
        margins.length ? `${met ? "✓" : "✗"}${SPACE}${met ? left : `${left} beyond`}` : MISSING,
      );
      say(chance, told.chance === null ? MISSING : chanceText(told.chance));
      element.classList.toggle("beyond", !met);
      ruler.show(told, met);
    },
  };
}

/** Say what the controls gave, in the mean of their runs; null without any. */
function controlsNote(response) {
  const said = (response.controls ?? [])
    .filter((one) => Number.isFinite(one.mean))
    .map((one) => {
      const ends = [one.mean - one.error, one.mean + one.error];
      const [low, high] = ends.map((z) => fromScale(response.scale, z));
      return `${one.name} ${withError(fromScale(response.scale, one.mean), (high - low) / 2)}`;
    });
  return said.length
    ? make("p", { class: "controls-gave" }, `Controls gave: ${said.join("; ")}.`)
    : null;
}

/** Between what bounds the chance of meeting all limits lies, whatever goes together. */
function jointWords(data, told) {
  const chances = told.map((one) => one.chance).filter((one) => one !== null);
  if (!chances.length) return "The brief sets no limit.";
  if (chances.some(Number.isNaN)) return "The chance to meet every limit cannot be told.";
  const most = Math.min(...chances);
  const least = Math.max(0, 1 - chances.reduce((sum, one) => sum + 1 - one, 0));
  const [low, high] = [chanceText(least), chanceText(most)];
  if (low === high) return `Every limit met at once: ${high}.`;
  return `Every limit met at once: ${low} at least, ${high} at most.`;
}
