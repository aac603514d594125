// What matters how much: importances, the views of the roles, and where the compromise lies then.

// One press of a button changes an importance by this much.
const WEIGHT_STEP = 0.5;
const LARGEST_WEIGHT = 100;

/** Make the panel of importances; `change` gets what is new in the state. */
function makeWeights(data, change, place) {
  const aimed = aimedOf(data);
  const views = makeViews(data, change);
  const lines = aimed.map((response) => makeWeightLine(response, change));
  const within = make("input", { type: "checkbox", id: "within" });
  within.addEventListener("change", () => change({ within: within.checked }));
  const found = makeFound(data, place);
  const limited = data.responses.some((one) => one.limits.length);
  const element = make(
    "section",
    { id: "weights", "aria-labelledby": "weights-head" },
    make("h2", { id: "weights-head" }, "What matters how much"),
    make(
      "div",
      { class: "halves" },
      make(
        "div",
        null,
        views.element,
        make(
          "table",
          { class: "importance" },
          make("caption", { class: "unseen" }, "Importance of each response"),
          headRow("response", "wanted", "importance"),
          make("tbody", null, ...lines.map((line) => line.element)),
        ),
        limited
          ? make(
              "label",
              { class: "tick", for: "within" },
              within,
              " only recipes whose expected values keep every limit",
            )
          : null,
      ),
      found.element,
    ),
  );
  return {
    element,
    found,
    show(state) {
      views.show(state);
      lines.forEach((line) => line.show(state));
      within.checked = state.within;
    },
  };
}

function makeViews(data, change) {
  const roles = [
    [null, "as in the brief"],
    ...data.views.map((view) => [view.role, view.role]),
    [OWN, "own importances"],
  ];
  const inputs = roles.map(([role], i) => {
    const input = make("input", { type: "radio", name: "view", id: `view-${i}` });
    input.addEventListener("change", () => change({ role }));
    return input;
  });
  const element = make(
    "fieldset",
    { class: "views" },
    make("legend", null, "In the view of"),
    ...roles.map(([, words], i) => make("label", { for: `view-${i}` }, inputs[i], ` ${words}`)),
  );
  return {
    element,
    show: (state) =>
      roles.forEach(([role], i) => {
        inputs[i].checked = state.role === role;
      }),
  };
}

function makeWeightLine(response, change) {
  let now = 1;
  const put = (weight) => {
    const taken = Math.min(LARGEST_WEIGHT, Math.max(0, weight));
    change({ role: OWN, weight: [response.name, Number.isNaN(taken) ? now : taken] });
  };
  const stepper = makeStepper({
    label: `importance of ${response.name}`,
    step: (n) => put(now + n * WEIGHT_STEP),
    type: (text) => put(typedNumber(text)),
  });
  const element = make(
    "tr",
    null,
    make("th", { scope: "row" }, response.name),
    make("td", { class: "w" }, aimWords(response)),
    make("td", null, stepper.element, make("span", { class: "typed" })),
  );
  return {
    element,
    show(state) {
      now = state.importances[response.name];
      stepper.field.value = plainText(now);
      say(element.querySelector(".typed"), plainText(now));
    },
  };
}

/** Say what is wanted of a response: between which values its desirability runs. */
function aimWords(response) {
  const worsts = response.aim.ramps.map(([a, c]) => -a / c);
  const bests = response.aim.ramps.map(([a, c]) => (1 - a) / c);
  if (response.kind === "rating") return "the accepted classes, as surely as can be";
  const unit = response.unit;
  if (worsts.length === 2) {
    const [low, high] = worsts.sort((a, b) => a - b);
    return `${withUnit(plainText(bests[0]), unit)}; useless at ${plainText(low)} and ${plainText(high)}`;
  }
  const word = worsts[0] > bests[0] ? "low" : "high";
  return `${word}: best at ${withUnit(plainText(bests[0]), unit)}, useless at ${plainText(worsts[0])}`;
}

/** Where the compromise lies for these importances, what moved, and where to put it. */
function makeFound(data, place) {
  const movable = data.axes.map((_, j) => j).filter((j) => !isNoise(data, j));
  const hasBase = data.compromise.length > 0;
  const cells = movable.map(() => [make("td"), make("td"), make("td", { class: "w" })]);
  const heads = hasBase ? ["report's", "now", "moved"] : ["now"];
  const kept = (line) => (hasBase ? line : line.slice(1, 2));
  const head = make("p", { class: "worth", id: "found" });
  const table = make(
    "table",
    { class: "found" },
    make("caption", { class: "unseen" }, "The compromise for these importances"),
    headRow("set", ...heads),
    make(
      "tbody",
      null,
      ...movable.map((j, i) =>
        make(
          "tr",
          null,
          make("th", { scope: "row" }, named(data.axes[j].name, data.axes[j].unit)),
          ...kept(cells[i]),
        ),
      ),
    ),
  );
  const gives = make("p", { class: "gives" });
  const buttons = ["A", "B"].map((letter) => {
    const button = make("button", { type: "button", class: "word" }, `Put it on card ${letter}`);
    button.addEventListener("click", () => place(letter));
    return button;
  });
  return {
    element: make(
      "div",
      { id: "compromise" },
      make("h3", null, "The compromise then"),
      head,
      table,
      gives,
      make("p", { class: "does" }, ...buttons),
    ),
    show(best, isDone) {
      const base = data.compromise[0] ?? best.row;
      say(head, foundWords(best, isDone));
      movable.forEach((j, i) => {
        const [was, now, moved] = cells[i];
        say(was, settingText(data, base, j));
        say(now, settingText(data, best.row, j));
        say(moved, movedWords(data, base, best.row, j));
      });
      say(
        gives,
        data.responses
          .map((one) => spokenResponse(one, predictAt(data, one, best.row)))
          .join("; ") + ".",
      );
    },
    clear(words) {
      say(head, words);
    },
  };
}

/** Say how good the best recipe is, or what it fails. */
function foundWords(best, isDone) {
  const end = isDone ? "." : " so far …";
  if (best.score <= -2) return `No recipe keeps every limit; the nearest miss is shown${end}`;
  if (best.score <= 0) return `No recipe serves every aim; the least bad one is shown${end}`;
  return `Overall desirability ${best.score.toFixed(3)}${end}`;
}

function movedWords(data, from, to, j) {
  if (Number.isNaN(from[j]) || Number.isNaN(to[j]) || data.axes[j].kind === "choice") {
    return Object.is(from[j], to[j]) ? "stays" : "changed";
  }
  const by = to[j] - from[j];
  if (Math.abs(by) < 1e-9 * Math.max(1, Math.abs(from[j]))) return "stays";
  return `${by > 0 ? "up" : "down"} by ${settingText(data, to, j, cleaned(Math.abs(by)))}`;
}
