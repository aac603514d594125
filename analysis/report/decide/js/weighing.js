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
        ...batch.lines.map((one) => line(one.name, gramsText(one.grams))),
        line("whole batch", gramsText(batch.grams), "sum"),
        ...(data.recipe.inSample
          ? sample.letdown.map((one) => line(`let-down: ${one.name}`, gramsText(one.grams)))
          : []),
      );
      say(foot, weighNote(batch, sample));
    },
  };
}

function weighNote(batch, sample) {
  const notes = ["Grams as supplied."];
  if (!batch.hasRoom) notes.unshift("These settings overfill the batch: no room is left.");
  for (const one of [...batch.titrations, ...sample.titrations]) {
    notes.push(
      `Set ${one.factor} to ${withUnit(plainText(one.target), one.unit)} with ${one.titrant}.`,
    );
  }
  if (batch.heldBack)
    notes.push(`Hold back ${gramsText(batch.heldBack)} g of ${batch.lines[0].name} for it.`);
  return notes.join(" ");
}
