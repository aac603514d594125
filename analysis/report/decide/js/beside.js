// Two recipes side by side: what differs, in settings, grams and readings.

/** Make the table of differences. */
function makeBeside(data) {
  const body = make("tbody");
  const element = make(
    "section",
    { id: "beside", "aria-labelledby": "beside-head" },
    make("h2", { id: "beside-head" }, "A beside B"),
    make(
      "table",
      { class: "beside" },
      make("caption", { class: "unseen" }, "What differs between recipes A and B"),
      headRow("", "A", "B", "B less A"),
      body,
    ),
  );
  return {
    element,
    show(state) {
      element.hidden = !state.B;
      if (state.B) body.replaceChildren(...besideLines(data, state.A, state.B).map(besideRow));
    },
  };
}

function besideRow({ name, a, b, less }) {
  return make(
    "tr",
    null,
    make("th", { scope: "row" }, name),
    ...[a, b, less].map((text) => make("td", null, text)),
  );
}

/** The lines of the table: settings, grams, readings; those that do not differ are left out. */
function besideLines(data, A, B) {
  const settings = data.axes.flatMap((axis, j) => {
    if (isNoise(data, j) || Object.is(A[j], B[j])) return [];
    const isNumber = axis.kind !== "choice" && !Number.isNaN(A[j]) && !Number.isNaN(B[j]);
    const less = isNumber ? signed(B[j] - A[j], (x) => settingText(data, B, j, cleaned(x))) : "";
    return [
      {
        name: named(axis.name, axis.unit),
        a: settingText(data, A, j),
        b: settingText(data, B, j),
        less,
      },
    ];
  });
  return [...settings, ...(data.recipe ? gramLines(data, A, B) : []), ...readingLines(data, A, B)];
}

function gramLines(data, A, B) {
  const all = (row) => [
    ...batchAt(data, row).lines,
    ...(data.recipe.inSample ? sampleAt(data, row).letdown : []),
  ];
  const [a, b] = [A, B].map((row) => new Map(all(row).map((line) => [line.name, line.grams])));
  return [...new Set([...a.keys(), ...b.keys()])].flatMap((name) => {
    const [x, y] = [a.get(name) ?? 0, b.get(name) ?? 0];
    if (gramsText(x) === gramsText(y)) return [];
    const places = (gramsText(Math.max(x, y)).split(".")[1] ?? "").length;
    const less = signed(y - x, (by) => by.toFixed(places));
    return [{ name: `${name}, g`, a: gramsText(x), b: gramsText(y), less }];
  });
}

function readingLines(data, A, B) {
  return data.responses.map((response) => {
    const [a, b] = [A, B].map((row) => predictAt(data, response, row));
    const text = (told) => withError(told.value, errorOf(told.run));
    const less = signed(b.value - a.value, (x) => withError(x, errorOf(b.run)));
    return { name: named(response.name, response.unit), a: text(a), b: text(b), less };
  });
}

function signed(by, text) {
  if (!Number.isFinite(by)) return MISSING;
  return `${by < 0 ? MINUS : "+"}${text(Math.abs(by))}`;
}
