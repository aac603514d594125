// The recipe card: what is set, what is weighed, what is to be expected.

/** Make one card; `edit` gets the column and what is wanted of it. */
function makeCard(data, letter, edit) {
  const set = makeSetTable(data, letter, edit);
  const weigh = data.recipe ? makeWeighTable(data) : null;
  const expect = makeExpectTable(data, letter);
  const said = make("p", { class: "said", id: `said-${letter}` });
  const worth = make("p", { class: "worth" });
  const buttons = make("p", { class: "does" });
  // On a small screen the readings stay in sight while a setting is moved.
  const strip = make("p", { class: "strip", "aria-hidden": "true" });
  const element = make(
    "article",
    { class: "card", id: `card-${letter}`, "aria-labelledby": `head-${letter}` },
    make(
      "header",
      null,
      make("h2", { id: `head-${letter}` }, `Recipe ${letter}`),
      make("p", { class: "paper" }, "made on ____________ by ____________"),
      buttons,
    ),
    make(
      "div",
      { class: "parts" },
      make("div", { class: "to-set" }, set.element, said),
      weigh?.element ?? null,
      make("div", { class: "to-read" }, expect.element, worth),
    ),
    strip,
  );
  return {
    element,
    said,
    worth,
    buttons,
    show(row) {
      const told = data.responses.map((response) => predictAt(data, response, row));
      set.show(row);
      weigh?.show(row);
      expect.show(told);
      strip.replaceChildren(...data.responses.map((one, i) => stripPart(one, told[i])));
      return told;
    },
    showRoom(row) {
      set.showRoom(row);
    },
  };
}

function stripPart(response, told) {
  const met = response.limits.every((limit) => isMet(limit, told.value));
  const sign = response.limits.length ? (met ? " ✓" : " ✗") : "";
  const words = `${withError(told.value, errorOf(told.run))}${sign}`;
  return make("span", { class: met ? "" : "missed" }, make("small", null, response.name), words);
}

/** The table of settings, with a line for what is held and what drifts. */
function makeSetTable(data, letter, edit) {
  const lines = data.axes.map((axis, j) =>
    isNoise(data, j) ? makeDriftLine(data, j) : makeSetLine(data, letter, j, edit),
  );
  const held = data.held.map((one) =>
    make(
      "tr",
      null,
      make("th", { scope: "row" }, named(one.name, one.unit)),
      make("td", { class: "planned" }, String(one.value)),
      make("td", { class: "room fixed" }, "held"),
    ),
  );
  const element = make(
    "table",
    { class: "set" },
    make("caption", { class: "unseen" }, `What is set for recipe ${letter}`),
    headRow(
      "set",
      "planned",
      make(
        "th",
        { scope: "col" },
        "may move alone, limits kept on average",
        make("small", null, "at the end half the batches fail"),
      ),
    ),
    make("tbody", null, ...lines.map((line) => line.element), ...held),
  );
  return {
    element,
    show: (row) => lines.forEach((line) => line.show(row)),
    showRoom(row) {
      const watched = limitsMetAt(data, row);
      lines.forEach((line) => line.showRoom(row, watched));
    },
  };
}

function makeDriftLine(data, j) {
  const axis = data.axes[j];
  const mean = data.production.means[data.production.columns.indexOf(j)];
  const words = axis.kind === "choice" ? "any level" : plainText(mean);
  const element = make(
    "tr",
    null,
    make("th", { scope: "row" }, named(axis.name, axis.unit)),
    make("td", { class: "planned" }, words),
    make("td", { class: "room fixed" }, "drifts in production; averaged over"),
  );
  return { element, show() {}, showRoom() {} };
}

function makeSetLine(data, letter, j, edit) {
  const axis = data.axes[j];
  const label = `${named(axis.name, axis.unit)}${axis.kind === "share" ? ", share" : ""}`;
  const roomId = `room-${letter}-${j}`;
  const parts =
    axis.kind === "choice"
      ? makeLevels(data, letter, j, edit)
      : makeNumber(data, letter, j, edit, label, roomId);
  const typed = make("span", { class: "typed" });
  const room = make("td", { class: "room", id: roomId });
  const note = axis.kind === "share" ? "share of active matter" : "";
  const element = make(
    "tr",
    null,
    make(
      "th",
      { scope: "row" },
      named(axis.name, axis.unit),
      note ? make("small", null, note) : null,
    ),
    make("td", { class: "planned" }, make("div", { class: "controls" }, ...parts.elements), typed),
    room,
  );
  return {
    element,
    show(row) {
      say(typed, settingText(data, row, j));
      parts.show(row);
    },
    showRoom: (row, watched) => say(room, roomWords(data, row, j, watched)),
  };
}

/** Field, buttons and slide of a numeric setting. */
function makeNumber(data, letter, j, edit, label, roomId) {
  const stepper = makeStepper({
    label,
    describedBy: `${roomId} said-${letter}`,
    step: (n) => edit(letter, j, { by: n }),
    type: (text) => edit(letter, j, { to: typedNumber(text) }),
  });
  const slide = make("input", { type: "range", step: 1, min: 0, "aria-label": `${label}, slide` });
  slide.addEventListener("input", () => edit(letter, j, { mark: Number(slide.value) }));
  return {
    elements: [stepper.element, slide],
    show(row) {
      const absent = Number.isNaN(row[j]);
      for (const one of [stepper.field, stepper.less, stepper.more, slide]) one.disabled = absent;
      stepper.field.value = settingText(data, row, j);
      const marks = marksOf(data, row, j);
      slide.max = String(Math.max(marks.length - 1, 0));
      const at = marks.reduce(
        (best, mark, i) => (Math.abs(mark - row[j]) < Math.abs(marks[best] - row[j]) ? i : best),
        0,
      );
      slide.value = String(at);
      const words = withUnit(settingText(data, row, j), data.axes[j].unit);
      slide.setAttribute("aria-valuetext", words);
    },
  };
}

/** The levels of a choice; those that the brief forbids beside the other settings cannot be taken. */
function makeLevels(data, letter, j, edit) {
  const axis = data.axes[j];
  const select = make(
    "select",
    { "aria-label": axis.name, "aria-describedby": `said-${letter}` },
    ...axis.levels.map((level, i) => make("option", { value: i }, level)),
  );
  select.addEventListener("change", () => edit(letter, j, { level: Number(select.value) }));
  return {
    elements: [select],
    show(row) {
      for (const [i, option] of [...select.options].entries()) {
        option.disabled = i !== row[j] && atLevel(data, row, j, i) === null;
      }
      select.value = String(row[j]);
    },
  };
}

/** Say how far a setting may move before which limit; only the ends that a limit sets are named. */
function roomWords(data, row, j, watched) {
  if (Number.isNaN(row[j]))
    return `not with ${data.axes[data.axes[j].rangedBy].levels[row[data.axes[j].rangedBy]]}`;
  if (data.axes[j].kind === "choice") return "";
  const room = roomOf(data, row, j, watched);
  if (room === null) return "";
  // Rounded towards the recipe, so that what is printed keeps the limit.
  const power = 10 ** (decimalsOf(data, row, j) ?? 6);
  const inwards = (x) => (x < row[j] ? Math.ceil(x * power - 1e-6) : Math.floor(x * power + 1e-6));
  const text = (x) => settingText(data, row, j, cleaned(inwards(x) / power));
  const stops = [...new Set([room.low, room.high].map((end) => end.words))].filter((words) =>
    watched.some((one) => one.limit.rests === words),
  );
  const why = stops.length ? `: ${stops.join("; ")}` : "";
  return `${text(room.low.at)} to ${text(room.high.at)}${why}`;
}
