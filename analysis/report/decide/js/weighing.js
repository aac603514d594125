// The weigh-out on the card: grams as supplied, in order of addition, and what is titrated.

/** The weigh-out, in order of addition. */
function makeWeighTable(data) {
  const body = make("tbody");
  const foot = make("p", { class: "note" });
  const element = make(
    "div",
    { class: "to-weigh" },
    make(
      "table",
      { class: "weigh" },
      make("caption", { class: "unseen" }, "What is weighed for one batch, as supplied"),
      headRow(
        "weigh, in this order",
        "g",
        make("th", { scope: "col", class: "paper" }, "actual, g"),
      ),
      body,
    ),
    foot,
  );
  const line = (name, grams, kind = "") =>
    make(
      "tr",
      { class: kind },
      make("th", { scope: "row" }, name),
      make("td", { class: "g" }, grams),
      make("td", { class: "paper" }),
    );
  return {
    element,
    show(row) {
      const batch = batchAt(data, row);
      const sample = sampleAt(data, row);
      body.replaceChildren(
        ...weighSteps(batch).map((one) => line(one.words, one.grams)),
        line("whole batch", gramsText(batch.grams), "sum"),
        ...(data.recipe.inSample
          ? sample.letdown.map((one) => line(`let-down: ${one.name}`, gramsText(one.grams)))
          : []),
      );
      say(foot, weighNote(batch, sample));
    },
  };
}

/** What is done in turn, in the words of the bench cards: without what is held back, base first. */
function weighSteps(batch) {
  const hows = { balance: " – weigh first", pigment: " – last, under shear" };
  const lines = batch.lines.map((one) => ({
    words: `${one.name}${hows[one.kind] ?? ""}`,
    grams: gramsText(one.kind === "balance" ? one.grams - batch.heldBack : one.grams),
  }));
  const targets = batch.titrations.map((one) => withUnit(plainText(one.target), one.unit));
  const bases = batch.titrations.map((one, i) => ({
    words: `${one.titrant} for ${one.factor} – add to ${one.factor} ${targets[i]}; note all grams`,
    grams: "",
  }));
  const reached = batch.titrations.map((one, i) => ({
    words: `${one.factor} – read what was reached (${targets[i]})`,
    grams: "",
  }));
  const steps = [lines[0], ...bases, ...lines.slice(1), ...reached];
  if (batch.heldBack) {
    const less = [...new Set(batch.titrations.map((one) => one.titrant))].join(", ");
    const held = `${String(Number(batch.heldBack.toFixed(2)))} g held back`;
    const words = `${batch.lines[0].name} made up – fill up: ${held}, less the ${less}`;
    steps.push({ words, grams: "" });
  }
  return steps;
}

function weighNote(batch, sample) {
  const notes = ["Grams as supplied."];
  if (!batch.hasRoom) notes.unshift("These settings overfill the batch: no room is left.");
  for (const one of sample.titrations) {
    notes.push(
      `Set ${one.factor} to ${withUnit(plainText(one.target), one.unit)} with ${one.titrant}.`,
    );
  }
  return notes.join(" ");
}
